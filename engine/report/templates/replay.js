"use strict";
(() => {
  const data = JSON.parse(document.getElementById("possession").textContent);
  const { ticks, decisions } = data;
  const last = ticks.t.length - 1;
  const N_SIDE = 5, N_PLAYERS = 10;
  const TRAIL_S = 3, STILL_MS = 1400;
  const find = (id) => document.getElementById(id);
  const [slider, clock, playButton, speed, paths] = ["moment", "clock", "play", "speed", "paths"].map(find);
  const now = find("now"), beside = find("beside");
  // Signs nearer than this are moved apart, and so far the ball keeps from signs that do not hold it (cm).
  const APART = 100, BALL_APART = 68;
  const optionRows = document.querySelector("#options tbody");
  const jobRows = [...document.querySelectorAll("#jobs tbody tr")];
  const eventItems = [...document.querySelectorAll("#events li")];
  const stops = [...new Set([0, ...data.events, last])].sort((a, b) => a - b);
  const lessMotion = matchMedia("(prefers-reduced-motion: reduce)");

  let at = 0;            // tick shown, with a fraction while playing
  let playing = false;
  let shownDecision = null;

  const between = (a, b, share) => a + (b - a) * share;
  const move = (element, [x, y]) => element.setAttribute("transform", `translate(${+x.toFixed(1)} ${+y.toFixed(1)})`);

  // Push signs apart, the holder's stays, so that no number is hidden; gives every sign its place.
  function apart(spots, holder, ball) {
    const found = spots.map((spot) => [...spot]);
    for (let round = 0; round < 60; round += 1) {
      let moved = false;
      const push = (i, from, least, share) => {
        const dx = found[i][0] - from[0], dy = found[i][1] - from[1], away = Math.hypot(dx, dy);
        if (away >= least - 0.5) return;
        const [ux, uy] = away > 0 ? [dx / away, dy / away] : [1, 0];
        found[i][0] += share * (least - away) * ux;
        found[i][1] += share * (least - away) * uy;
        moved = true;
      };
      for (let i = 0; i < found.length; i += 1) {
        if (i !== holder) push(i, ball, BALL_APART, 1);
        for (let j = 0; j < found.length; j += 1) {
          if (i === j || i === holder) continue;
          push(i, found[j], APART, j === holder ? 1 : 0.5);
        }
      }
      if (!moved) break;
    }
    return found;
  }

  // One court: its own possession and ids, drawn at a tick with a fraction.
  function makeCourt(prefix, shown) {
    const end = shown.t.length - 1;
    const part = (id) => find(prefix + id);
    const agents = shown.people[0].slice(0, N_PLAYERS).map((_, i) => part("agent-" + i));
    const ball = part("ball"), aim = part("aim"), trails = part("trails");
    const place = (tick, i) => [shown.people[tick][2 * i], shown.people[tick][2 * i + 1]];

    function draw(at) {
      const tick = Math.floor(at), next = Math.min(tick + 1, end), share = at - tick;
      const spots = agents.map((_, i) => {
        const [x0, y0] = place(tick, i), [x1, y1] = place(next, i);
        return [between(x0, x1, share), between(y0, y1, share)];
      });
      const holder = shown.hold[tick];
      let spot;
      if (holder >= 0) {
        spot = [spots[holder][0] + data.in_hand, spots[holder][1] + data.in_hand];
      } else {
        const [x0, y0] = shown.ball[tick];
        const [x1, y1] = shown.hold[next] < 0 ? shown.ball[next] : [x0, y0];
        spot = [between(x0, x1, share), between(y0, y1, share)];
      }
      const signs = apart(spots, holder, spot);
      agents.forEach((agent, i) => {
        move(agent, spots[i]);
        const off = [signs[i][0] - spots[i][0], signs[i][1] - spots[i][1]];
        move(agent.querySelector(".sign"), off);
        const tether = agent.querySelector(".tether");
        tether.setAttribute("x2", off[0].toFixed(1));
        tether.setAttribute("y2", off[1].toFixed(1));
      });
      move(ball, spot);
      agents.slice(0, N_SIDE).forEach((agent, i) => {
        agent.querySelector(".holds").classList.toggle("on", holder === i);
      });
      const trap = shown.traps[tick];
      agents.slice(N_SIDE).forEach((agent, i) => {
        const box = agent.querySelector(".traps");
        const traps = trap !== null && trap.slice(0, 2).includes(i + N_SIDE);
        box.classList.toggle("on", traps);
        box.classList.toggle("closed", traps && trap[2] === 2);
      });
      const to = shown.aim[tick];
      aim.setAttribute("visibility", to >= 0 ? "visible" : "hidden");
      if (to >= 0) {
        const goal = to === N_PLAYERS ? [0, 0] : spots[to];
        [["x1", spot[0]], ["y1", spot[1]], ["x2", goal[0]], ["y2", goal[1]]].forEach(([key, value]) => {
          aim.setAttribute(key, value.toFixed(1));
        });
      }
      drawTrails(tick, spots);
    }

    function drawTrails(tick, spots) {
      if (!paths.checked) {
        trails.replaceChildren();
        return;
      }
      let first = tick;
      while (first > 0 && shown.t[tick] - shown.t[first - 1] <= TRAIL_S) first -= 1;
      trails.replaceChildren(...agents.map((_, i) => {
        const line = document.createElementNS("http://www.w3.org/2000/svg", "polyline");
        const points = [];
        for (let k = first; k <= tick; k += 1) points.push(place(k, i).join(","));
        points.push(spots[i].join(","));
        line.setAttribute("class", i < N_SIDE ? "trail" : "trail defends");
        line.setAttribute("points", points.join(" "));
        return line;
      }));
    }
    return draw;
  }

  const drawMain = makeCourt("", ticks);
  const without = data.without, drawWithout = without ? makeCourt("without-", without) : null;

  // The other possession at the same second; where it is over it stands at its end.
  function drawBeside() {
    if (!drawWithout || !beside.checked) return;
    const tick = Math.floor(at), next = Math.min(tick + 1, last);
    const second = between(ticks.t[tick], ticks.t[next], at - tick);
    let k = 0;
    while (k < without.t.length - 1 && without.t[k + 1] <= second) k += 1;
    const step = k < without.t.length - 1 ? without.t[k + 1] - without.t[k] : 1;
    drawWithout(Math.min(k + Math.max(0, (second - without.t[k]) / step), without.t.length - 1));
    const over = second > without.t[without.t.length - 1];
    find("without-now").textContent = `Without the call: ${without.now[without.now_at[k]]}${over ? " " + data.without_end : ""}.`;
  }

  function drawCourt() {
    drawMain(at);
    drawBeside();
  }

  const sentence = (tick) => {
    const parts = [`${ticks.t[tick].toFixed(1)} s`];
    parts.push(ticks.clock[tick] === null ? "no shot clock" : `shot clock ${ticks.clock[tick].toFixed(1)} s`);
    parts.push(ticks.now[ticks.now_at[tick]]);
    const trap = ticks.trap[ticks.trap_at[tick]];
    if (trap) parts.push(trap);
    return parts.join("; ") + ".";
  };

  function cell(tag, text, cls) {
    const made = document.createElement(tag);
    made.textContent = text;
    if (cls) made.className = cls;
    if (tag === "th") made.scope = "row";
    return made;
  }

  function drawDecision(tick) {
    let found = null;
    for (const one of decisions) if (one.frame <= tick) found = one;
    const title = find("decision-title");
    if (found === null) {
      title.textContent = "No decision yet";
    } else {
      const ago = ticks.t[tick] - ticks.t[found.frame];
      title.textContent = found.title + (ago < 0.05 ? ", now" : `, ${ago.toFixed(1)} s ago`);
    }
    if (found === shownDecision && (found === null || optionRows.children.length)) return;
    shownDecision = found;
    find("options").hidden = found === null;
    if (found === null) {
      optionRows.replaceChildren();
      return;
    }
    const most = Math.max(...found.options.map((one) => one[1]), 0.01);
    optionRows.replaceChildren(...found.options.map(([words, points, taken]) => {
      const row = document.createElement("tr");
      if (taken) row.className = "taken";
      const bar = cell("td", "", "bar"), length = document.createElement("span");
      bar.setAttribute("aria-hidden", "true");
      length.style.width = `${Math.max(0, (100 * points) / most).toFixed(0)}%`;
      bar.append(length);
      row.append(cell("th", words), cell("td", points.toFixed(2), "number"), bar, cell("td", taken ? "taken" : ""));
      return row;
    }));
  }

  function drawWords() {
    const tick = Math.floor(at);
    slider.value = String(tick);
    slider.setAttribute("aria-valuetext", sentence(tick));
    clock.textContent = `${ticks.t[tick].toFixed(1)} of ${ticks.t[last].toFixed(1)} s`;
    now.textContent = sentence(tick);
    drawDecision(tick);
    jobRows.forEach((row, i) => {
      row.children[1].textContent = ticks.jobs[ticks.jobs_at[tick][i]];
      row.children[2].textContent = ticks.slides[ticks.slides_at[tick][i]];
    });
    let current = -1;
    data.events.forEach((frame, i) => { if (frame <= tick) current = i; });
    eventItems.forEach((item, i) => {
      if (i === current) item.setAttribute("aria-current", "true");
      else item.removeAttribute("aria-current");
    });
  }

  let wordsOf = -1;
  function draw() {
    drawCourt();
    if (Math.floor(at) !== wordsOf) {
      wordsOf = Math.floor(at);
      drawWords();
    }
  }

  function go(tick) {
    at = Math.min(Math.max(tick, 0), last);
    draw();
  }

  // --- playing ---

  let ticket = 0;        // a later play or stop makes an earlier one void

  function stop() {
    ticket += 1;
    playing = false;
    playButton.textContent = "Play";
    playButton.setAttribute("aria-pressed", "false");
    now.setAttribute("aria-live", "polite");
    go(Math.floor(at));
  }

  function play() {
    if (at >= last) go(0);
    ticket += 1;
    playing = true;
    playButton.textContent = "Pause";
    playButton.setAttribute("aria-pressed", "true");
    now.setAttribute("aria-live", lessMotion.matches ? "polite" : "off");
    if (lessMotion.matches) playStill(ticket);
    else playMoving(ticket);
  }

  function playStill(mine) {
    setTimeout(() => {
      if (mine !== ticket) return;
      const next = stops.find((tick) => tick > at);
      if (next === undefined) return stop();
      go(next);
      playStill(mine);
    }, STILL_MS / Number(speed.value));
  }

  function playMoving(mine) {
    let before = null;
    const frame = (time) => {
      if (mine !== ticket) return;
      if (before !== null) forward(((time - before) / 1000) * Number(speed.value));
      before = time;
      if (at >= last) return stop();
      requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
  }

  function forward(seconds) {
    while (seconds > 0 && at < last) {
      const tick = Math.floor(at), length = ticks.t[tick + 1] - ticks.t[tick];
      const left = (tick + 1 - at) * length;
      if (seconds < left) {
        at += seconds / length;
        seconds = 0;
      } else {
        at = tick + 1;
        seconds -= left;
      }
    }
    draw();
  }

  // --- asked for ---

  const step = (by) => { stop(); go(Math.floor(at) + by); };
  function decide(direction) {
    stop();
    const frames = decisions.map((one) => one.frame);
    const found = direction > 0 ? frames.find((tick) => tick > at) : frames.reverse().find((tick) => tick < at);
    if (found !== undefined) go(found);
  }

  slider.addEventListener("input", () => {
    const wanted = Number(slider.value);
    stop();
    go(wanted);
  });
  playButton.addEventListener("click", () => (playing ? stop() : play()));
  find("before").addEventListener("click", () => decide(-1));
  find("after").addEventListener("click", () => decide(1));
  paths.addEventListener("change", draw);
  if (beside) {
    const show = () => {
      find("with-without").classList.toggle("both", beside.checked);
      draw();
    };
    beside.addEventListener("change", show);
    show();
  }
  document.querySelectorAll("button[data-frame]").forEach((button) => {
    button.addEventListener("click", () => {
      stop();
      go(Number(button.dataset.frame));
    });
  });

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const { target } = event;
    const here = target === document.body || find("player").contains(target);
    if (!here || target === speed) return;
    const presses = target instanceof HTMLButtonElement || target === paths || target === beside;
    let done = true;
    if (event.key === " " && !presses) (playing ? stop() : play());
    else if (event.key === "ArrowRight") (event.shiftKey ? decide(1) : step(1));
    else if (event.key === "ArrowLeft") (event.shiftKey ? decide(-1) : step(-1));
    else if (event.key === "Home") { stop(); go(0); }
    else if (event.key === "End") { stop(); go(last); }
    else done = false;
    if (done) event.preventDefault();
  });

  const tellMotion = () => { find("still").hidden = !lessMotion.matches; };
  lessMotion.addEventListener("change", () => { if (playing) stop(); tellMotion(); });
  tellMotion();
  draw();
})();
