"""The commands of ``trapledger``: thin, and they import the compiled part only when they compute."""
