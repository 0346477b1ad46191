"""What every page has in common: its own style and nothing else by the content policy, one head and tail.

No script, nothing asked of the network. Whatever comes from files of the user goes through Jinja2's
autoescape.
"""

from __future__ import annotations

from engine.estimate.intervals import Found
from engine.report.replay.page import environment, own_part


def rendered(template: str, styles: tuple[str, ...], **values: object) -> str:
    """A template (HTML) with styles of this package, allowed by their hashes."""
    parts = [own_part(name) for name in styles]
    sources = " ".join(source for _, source in parts)
    policy = f"default-src 'none'; style-src {sources}; base-uri 'none'; form-action 'none'"
    texts = tuple(text for text, _ in parts)
    return str(environment().get_template(template).render(policy=policy, styles=texts, **values))


def origin_words(found: Found) -> str:
    """The tail of a page: what its figures can be had again by (``found``: the JSON of a study)."""
    origin = f"trapledger {found['version']}, seed {found['seed']}, inputs {found['config_hash'][:12]}"
    return f"{origin}. Players are numbers; this file sends nothing."
