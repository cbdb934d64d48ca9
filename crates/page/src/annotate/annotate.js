// Marking by mouse and keys. What is marked is sent at every change and comes back on a reload; a file is written by Save.
"use strict";

(async () => {
  const main = document.querySelector("main");
  const [timeline, overview, here, said, trouble, kept, table] = [
    "timeline", "overview", "here", "said", "trouble", "kept", "marks",
  ].map((id) => document.getElementById(id));
  const elapsed = Number(main.dataset.elapsed);
  const EDGE = 44; // width of the scale, px
  const STRIP = 34; // height of the strip of marks, px
  const CURVE = 92; // height of a curve with its name, px
  const NEAR = 8; // a pointer this near to a mark takes hold of it, px
  const SILENCE = 15; // a curve is broken where nothing is known for longer, s
  const LEAST_VIEW = Math.min(10, elapsed); // closest zoom, s
  const HEIGHTS = { run: 26, walk: 15, stand: 6, unknown: 26 };

  const got = async (address) => (await fetch(address)).json();
  const [recording, state] = await Promise.all([got("/curves.json"), got("/marks.json")]);
  const times = recording.time_s;
  let marks = state.marks.map((mark) => ({ at: mark.at_s, gait: mark.gait }));
  let { version, is_saved: isSaved } = state;
  let cursor = 0;
  let view = { from: 0, to: elapsed };
  const past = [];
  const future = [];

  // Numbers and words.
  const tenths = (s) => Math.round(s * 10) / 10;
  const within = (s) => Math.min(elapsed, Math.max(0, tenths(s)));
  const clock = (seconds) => {
    const all = tenths(seconds);
    const [h, m, s] = [Math.floor(all / 3600), Math.floor(all / 60) % 60, tenths(all % 60)];
    const two = (n) => String(n).padStart(2, "0");
    const rest = Number.isInteger(s) ? two(s) : s.toFixed(1).padStart(4, "0");
    return h > 0 ? `${h}:${two(m)}:${rest}` : `${m}:${rest}`;
  };
  const ofDay = (s) => clock((Number(main.dataset.clock) + s) % 86400).replace(/^(\d:\d\d(:|$))/, "0$1");
  const stretches = () => {
    const all = marks.length && marks[0].at === 0 ? [] : [{ at: 0, gait: "unknown" }];
    all.push(...marks);
    return all.map((one, i) => ({ from: one.at, to: all[i + 1]?.at ?? elapsed, gait: one.gait }));
  };
  const stretchAt = (t) => stretches().findLast((one) => one.from <= t);
  const markAt = (t) => marks.find((mark) => Math.abs(mark.at - t) < 0.05);
  const say = (text) => (said.textContent = text);

  // What is marked goes to the program one change after the other; the newest one is what counts.
  let isSending = false;
  let wanted = null;
  const send = async (address) => {
    wanted = wanted === "/save" ? wanted : address;
    if (isSending) return;
    isSending = true;
    while (wanted) {
      const to = wanted;
      wanted = null;
      const body = new URLSearchParams({ version });
      marks.forEach((mark) => body.append("mark", `${mark.at} ${mark.gait}`));
      const sent = JSON.stringify(marks);
      try {
        const answer = await fetch(to, { method: "POST", body, keepalive: true });
        const text = await answer.json().catch(() => ({ trouble: "The program refused this. Reload the page." }));
        trouble.hidden = answer.ok;
        if (answer.ok) {
          version = text.version;
          isSaved = text.is_saved && sent === JSON.stringify(marks);
          if (to === "/save") say("Saved.");
        } else {
          trouble.textContent = text.trouble;
        }
      } catch {
        trouble.hidden = false;
        trouble.textContent = "The program has ended: start it again with --resume to go on from what was saved.";
      }
    }
    isSending = false;
    tell();
  };
  const change = (list, text) => {
    const next = list.sort((a, b) => a.at - b.at);
    if (JSON.stringify(next) === JSON.stringify(marks)) return say(text.none);
    past.push(marks);
    future.length = 0;
    marks = next;
    isSaved = false;
    say(text.done);
    draw();
    send("/marks");
  };
  const copy = () => marks.map((mark) => ({ ...mark }));

  // What one can do.
  const look = (from, width) => {
    const size = Math.min(elapsed, Math.max(LEAST_VIEW, width));
    const start = Math.min(elapsed - size, Math.max(0, from));
    view = { from: start, to: start + size };
    draw();
  };
  const go = (t) => {
    cursor = within(t);
    const size = view.to - view.from;
    if (cursor < view.from || cursor > view.to) look(cursor - size / 2, size);
    else draw();
  };
  const zoom = (factor, around = cursor) => {
    const size = Math.min(elapsed, Math.max(LEAST_VIEW, (view.to - view.from) * factor));
    const share = around >= view.from && around <= view.to ? (around - view.from) / (view.to - view.from) : 0.5;
    look(around - share * size, size);
  };
  const mark = (gait) => {
    const list = copy().filter((one) => Math.abs(one.at - cursor) >= 0.05);
    // Where it is that gait already, a mark would say nothing, and one that is there is taken away.
    const before = list.findLast((one) => one.at < cursor)?.gait ?? "unknown";
    if (before !== gait) list.push({ at: cursor, gait });
    change(list, { done: `From ${clock(cursor)}: ${gait}.`, none: `It is ${gait} here already.` });
  };
  const move = (seconds) => {
    const at = marks.findIndex((one) => Math.abs(one.at - cursor) < 0.05);
    if (at < 0) return say("No mark is here. Go to one with Previous mark or Next mark.");
    const least = at > 0 ? marks[at - 1].at + 0.1 : 0;
    const most = at + 1 < marks.length ? marks[at + 1].at - 0.1 : elapsed;
    const to = tenths(Math.min(most, Math.max(least, cursor + seconds)));
    const list = copy();
    list[at].at = to;
    cursor = to;
    change(list, { done: `The mark is at ${clock(to)} now.`, none: "The mark cannot go further." });
    go(to);
  };
  const remove = (t) => {
    const gone = markAt(t);
    if (!gone) return say("No mark is here. Go to one with Previous mark or Next mark.");
    change(copy().filter((one) => one.at !== gone.at), { done: `The mark at ${clock(t)} is deleted.`, none: "" });
  };
  const step = (from, to, text) => {
    if (from.length === 0) return say(text.none);
    to.push(marks);
    marks = from.pop();
    isSaved = false;
    say(text.done);
    draw();
    send("/marks");
  };
  const neighbour = (isNext) => {
    const found = isNext
      ? marks.find((one) => one.at > cursor + 0.05)
      : marks.findLast((one) => one.at < cursor - 0.05);
    if (!found) return say(isNext ? "There is no mark after this place." : "There is no mark before this place.");
    go(found.at);
    say(`At ${clock(found.at)}: from here ${found.gait}.`);
  };
  const DO = {
    "zoom-in": () => zoom(0.5),
    "zoom-out": () => zoom(2),
    whole: () => look(0, elapsed),
    earlier: () => look(view.from - (view.to - view.from) / 2, view.to - view.from),
    later: () => look(view.from + (view.to - view.from) / 2, view.to - view.from),
    previous: () => neighbour(false),
    next: () => neighbour(true),
    delete: () => remove(cursor),
    undo: () => step(past, future, { done: "Undone.", none: "There is nothing to undo." }),
    redo: () => step(future, past, { done: "Done again.", none: "There is nothing to do again." }),
    save: () => send("/save"),
  };
  main.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const { do: what, go: seconds, gait, move: by, to, remove: at } = button.dataset;
    if (what) DO[what]();
    else if (seconds) go(cursor + Number(seconds));
    else if (gait) mark(gait);
    else if (by) move(Number(by));
    else if (to) {
      go(Number(to));
      timeline.focus();
    } else if (at) {
      go(Number(at));
      remove(Number(at));
      timeline.focus();
    }
  });

  const KEYS = {
    PageUp: () => go(cursor - 60),
    PageDown: () => go(cursor + 60),
    Home: () => go(0),
    End: () => go(elapsed),
    Delete: DO.delete,
    Backspace: DO.delete,
    "+": DO["zoom-in"],
    "=": DO["zoom-in"],
    "-": DO["zoom-out"],
    0: DO.whole,
    p: DO.previous,
    n: DO.next,
    r: () => mark("run"),
    w: () => mark("walk"),
    s: () => mark("stand"),
    u: () => mark("unknown"),
    z: DO.undo,
    y: DO.redo,
  };
  timeline.addEventListener("keydown", (event) => {
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    const small = event.shiftKey ? 0.1 : 1;
    let act = KEYS[key];
    if (key === "ArrowLeft" || key === "ArrowDown") act = () => go(cursor - (event.shiftKey ? 10 : 1));
    if (key === "ArrowRight" || key === "ArrowUp") act = () => go(cursor + (event.shiftKey ? 10 : 1));
    if (key === "e") act = () => move(-small);
    if (key === "l") act = () => move(small);
    // Of the browser's own combinations only those that mean the same here are taken.
    if (event.altKey) return;
    if (event.ctrlKey || event.metaKey) act = { s: DO.save, z: DO.undo, y: DO.redo }[key];
    if (!act) return;
    event.preventDefault();
    act();
  });

  // The pointer.
  const width = () => Math.max(60, timeline.clientWidth - EDGE);
  const x = (t) => EDGE + ((t - view.from) / (view.to - view.from)) * width();
  const timeAt = (event) => {
    const from = event.clientX - timeline.getBoundingClientRect().left - EDGE;
    return within(view.from + (from / width()) * (view.to - view.from));
  };
  let held = null;
  timeline.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    const t = timeAt(event);
    const near = marks
      .map((one, at) => ({ at, px: Math.abs(x(one.at) - x(t)) }))
      .filter((one) => one.px <= NEAR)
      .sort((a, b) => a.px - b.px)[0];
    held = { from: event.clientX, mark: near ? near.at : null, before: marks, isMoved: false };
    timeline.setPointerCapture(event.pointerId);
    go(near ? marks[near.at].at : t);
  });
  timeline.addEventListener("pointermove", (event) => {
    if (!held) return;
    held.isMoved ||= Math.abs(event.clientX - held.from) > 3;
    if (!held.isMoved) return;
    if (held.mark === null) return go(timeAt(event));
    const least = held.mark > 0 ? marks[held.mark - 1].at + 0.1 : 0;
    const most = held.mark + 1 < marks.length ? marks[held.mark + 1].at - 0.1 : elapsed;
    marks = copy();
    marks[held.mark].at = tenths(Math.min(most, Math.max(least, timeAt(event))));
    go(marks[held.mark].at);
  });
  const letGo = () => {
    if (held?.isMoved && held.mark !== null) {
      const list = marks;
      marks = held.before;
      change(list, { done: `The mark is at ${clock(cursor)} now.`, none: "The mark is where it was." });
    }
    held = null;
  };
  timeline.addEventListener("pointerup", letGo);
  timeline.addEventListener("pointercancel", () => {
    // The finger scrolls the page: the mark stays where it was.
    if (held) marks = held.before;
    held = null;
    draw();
  });
  timeline.addEventListener(
    "wheel",
    (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      zoom(event.deltaY > 0 ? 1.25 : 0.8, timeAt(event));
    },
    { passive: false },
  );
  overview.addEventListener("click", (event) => {
    const from = event.clientX - overview.getBoundingClientRect().left - EDGE;
    const t = within((from / width()) * elapsed);
    look(t - (view.to - view.from) / 2, view.to - view.from);
  });

  // Drawing.
  const svg = (name, attributes = {}, text = null) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== null) element.textContent = text;
    return element;
  };
  const bar = (gait, from, to, foot) => {
    const height = HEIGHTS[gait];
    const rect = { class: gait, x: from, y: foot - height, width: Math.max(0.5, to - from), height };
    return svg("rect", gait === "unknown" ? { ...rect, fill: "url(#hatch)" } : rect);
  };
  const first = (t) => {
    let [low, high] = [0, times.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] < t) low = middle + 1;
      else high = middle;
    }
    return low;
  };
  // Least and greatest value of each pixel; the path is broken where nothing is known.
  const path = (values, place) => {
    const [from, to] = [Math.max(0, first(view.from) - 1), Math.min(times.length, first(view.to) + 1)];
    let [text, last, pixel] = ["", -Infinity, null];
    const flush = () => {
      if (!pixel) return;
      text += `${pixel.isBroken ? "M" : "L"}${pixel.x} ${place(pixel.first)}`;
      if (pixel.least !== pixel.most) text += `V${place(pixel.least)}V${place(pixel.most)}V${place(pixel.last)}`;
      else if (pixel.isBroken) text += "h.1";
    };
    for (let i = from; i < to; i += 1) {
      const value = values[i];
      if (value === null) continue;
      const at = Math.round(x(times[i]) * 2) / 2;
      const isBroken = times[i] - last > SILENCE;
      last = times[i];
      if (pixel && pixel.x === at && !isBroken) {
        pixel.least = Math.min(pixel.least, value);
        pixel.most = Math.max(pixel.most, value);
        pixel.last = value;
        continue;
      }
      flush();
      pixel = { x: at, first: value, last: value, least: value, most: value, isBroken };
    }
    flush();
    return text;
  };
  const ranges = recording.curves.map(({ values }) => {
    let [least, most] = [Infinity, -Infinity];
    for (const value of values) {
      if (value !== null) [least, most] = [Math.min(least, value), Math.max(most, value)];
    }
    const room = Math.max(0, 10 - (most - least)) / 2;
    return { low: least >= 0 ? Math.max(0, least - room) : least - room, high: most + room };
  });
  const stepOf = (size, room, steps) => steps.find((one) => (one / size) * width() >= room) ?? steps.at(-1);
  const TIME_STEPS = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1200, 1800, 3600, 7200, 21600, 43200, 86400, 604800];
  const VALUE_STEPS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000];

  const drawCurves = () => {
    const height = STRIP + recording.curves.length * CURVE + 22;
    const right = EDGE + width();
    const drawing = svg("svg", { height, "aria-hidden": "true" });
    const size = view.to - view.from;
    const step = stepOf(size, view.to >= 3600 ? 76 : 52, TIME_STEPS);
    // A box that cuts what reaches beyond the field.
    const box = { x: EDGE, y: 0, width: width(), height, viewBox: `${EDGE} 0 ${width()} ${height}` };
    const field = svg("svg", box);
    for (let t = Math.ceil(view.from / step) * step; t <= view.to; t += step) {
      drawing.append(svg("line", { class: "grid", x1: x(t), x2: x(t), y1: STRIP, y2: height - 20 }));
      if (x(t) <= right - (view.to >= 3600 ? 26 : 16)) {
        drawing.append(svg("text", { class: "label", x: x(t), y: height - 6, "text-anchor": "middle" }, clock(t)));
      }
    }
    recording.gaps
      .filter((gap) => gap.end_s > view.from && gap.start_s < view.to)
      .forEach((gap) => {
        const [from, to] = [Math.max(EDGE, x(gap.start_s)), Math.min(right, x(gap.end_s))];
        const place = { x: from, width: Math.max(1, to - from), y: STRIP, height: height - 20 - STRIP };
        const rect = svg("rect", { class: "gap", fill: "url(#hatch)", ...place });
        rect.append(svg("title", {}, gap.why));
        drawing.append(rect);
      });
    recording.curves.forEach((curve, i) => {
      const [top, foot] = [STRIP + i * CURVE + 22, STRIP + (i + 1) * CURVE - 4];
      const { low, high } = ranges[i];
      const y = (value) => Math.round((foot - ((value - low) / (high - low)) * (foot - top)) * 10) / 10;
      drawing.append(svg("rect", { class: "ground", x: EDGE, y: top, width: width(), height: foot - top }));
      const gap = VALUE_STEPS.find((one) => one >= 0.3 * (high - low)) ?? 1000;
      for (let value = Math.ceil(low / gap) * gap; value <= high; value += gap) {
        drawing.append(svg("line", { class: "grid", x1: EDGE, x2: right, y1: y(value), y2: y(value) }));
        drawing.append(svg("text", { class: "label", x: EDGE - 5, y: y(value) + 4, "text-anchor": "end" }, value));
      }
      field.append(svg("path", { class: "curve", d: path(curve.values, y) }));
      drawing.append(svg("text", { class: "name", x: EDGE, y: top - 6 }, curve.name));
    });
    drawing.append(field);
    for (const one of stretches().filter((one) => one.to > view.from && one.from < view.to)) {
      const [from, to] = [Math.max(EDGE, x(one.from)), Math.min(right, x(one.to))];
      drawing.append(bar(one.gait, from, to, STRIP - 4));
      if (to - from > 8 * one.gait.length + 6) {
        drawing.append(svg("text", { class: "word", x: from + 5, y: STRIP - 12 }, one.gait));
      }
    }
    marks
      .filter((one) => one.at >= view.from && one.at <= view.to)
      .forEach((one) => {
        drawing.append(svg("line", { class: "mark", x1: x(one.at), x2: x(one.at), y1: 2, y2: height - 20 }));
        drawing.append(svg("circle", { class: "grip", cx: x(one.at), cy: 6, r: 4 }));
      });
    if (cursor >= view.from && cursor <= view.to) {
      drawing.append(svg("line", { class: "cursor", x1: x(cursor), x2: x(cursor), y1: 0, y2: height - 20 }));
    }
    timeline.replaceChildren(drawing);
  };
  const drawOverview = () => {
    const at = (t) => EDGE + (t / elapsed) * width();
    const drawing = svg("svg", { height: 34 });
    stretches().forEach((one) => drawing.append(bar(one.gait, at(one.from), at(one.to), 30)));
    const frame = { x: at(view.from), width: Math.max(3, at(view.to) - at(view.from)), y: 1, height: 32 };
    drawing.append(svg("rect", { class: "window", ...frame }));
    drawing.append(svg("line", { class: "cursor", x1: at(cursor), x2: at(cursor), y1: 2, y2: 32 }));
    overview.replaceChildren(drawing);
  };
  const values = () => {
    const near = (list) => {
      for (let i = Math.min(times.length - 1, first(cursor + 0.05)); i >= 0 && cursor - times[i] <= 5; i -= 1) {
        if (times[i] <= cursor + 0.05 && list[i] !== null) return list[i];
      }
      return null;
    };
    return recording.curves
      .map((curve) => ({ value: near(curve.values), unit: curve.unit }))
      .filter(({ value }) => value !== null)
      .map(({ value, unit }) => `${Math.round(value * 10) / 10} ${unit}`);
  };
  const tell = () => {
    const one = stretchAt(cursor);
    const text = `${clock(cursor)}, ${one.gait}${markAt(cursor) ? ", a mark" : ""}`;
    timeline.setAttribute("aria-valuenow", cursor);
    timeline.setAttribute("aria-valuetext", text);
    here.textContent = [`At ${text}`, `${ofDay(cursor)} ${main.dataset.zone}`, ...values()].join(" · ");
    kept.textContent = isSaved ? "What is marked is saved." : "Not saved yet. A reload of the page keeps it.";
  };
  const button = (text, name, data) => {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = text;
    made.setAttribute("aria-label", name);
    Object.assign(made.dataset, data);
    return made;
  };
  const drawTable = () => {
    const now = stretchAt(cursor);
    const rows = stretches().map((one) => {
      const row = document.createElement("tr");
      if (one.from === now.from) row.className = "now";
      const cell = (label, content) => {
        const made = document.createElement(label === "From" ? "th" : "td");
        if (label === "From") made.scope = "row";
        else made.dataset.label = label;
        made.append(...[content].flat());
        return made;
      };
      const buttons = [button("Go to", `Go to ${clock(one.from)}`, { to: one.from })];
      if (markAt(one.from)) {
        buttons.push(" ", button("Delete", `Delete the mark at ${clock(one.from)}`, { remove: one.from }));
      }
      row.append(cell("From", clock(one.from)), cell("To", clock(one.to)), cell("Gait", one.gait));
      row.append(cell("Length", clock(one.to - one.from)), cell("Mark", buttons));
      return row;
    });
    table.replaceChildren(...rows);
  };
  let isDue = false;
  const drawNow = () => {
    isDue = false;
    drawOverview();
    drawCurves();
    drawTable();
  };
  const draw = () => {
    tell();
    if (isDue) return;
    isDue = true;
    requestAnimationFrame(drawNow);
  };
  tell();
  drawNow();
  new ResizeObserver(draw).observe(timeline);
  main.dataset.ready = "yes";
  say(marks.length ? "What was marked before is here." : "Nothing is marked yet. Click in the curves where a gait begins and choose it below, or use the keys.");
})();
