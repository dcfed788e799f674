// The pile laid along its lightness, dark left, light right, none hiding another; edges between groups are dragged.

const STYLE = `
.ck-strip { position: relative; user-select: none; }
.ck-strip-bands { position: relative; height: 68px; }
.ck-strip-band { position: absolute; bottom: 2px; text-align: center; overflow: hidden; line-height: 1.2; white-space: nowrap; }
.ck-strip-band b, .ck-strip-band > span { display: block; text-overflow: ellipsis; overflow: hidden; }
.ck-strip-tight .ck-strip-bands { height: 132px; }
.ck-strip-tight .ck-strip-band { writing-mode: vertical-rl; transform: rotate(180deg); text-align: left; max-height: 130px; }
.ck-strip-tight .ck-strip-bars { display: none; }
.ck-strip-bars { display: inline-block; height: .72em; margin-right: .4em; vertical-align: baseline; }
.ck-strip-stage { position: relative; isolation: isolate; }
.ck-strip-field { position: relative; background: var(--ck-strip-surround); }
.ck .ck-strip-field button { position: absolute; z-index: 1; min-width: 0; min-height: 0; padding: 0; border: 0;
  background-color: transparent; background-repeat: no-repeat; }
.ck .ck-strip-field button.ck-strip-doubt { outline: var(--ck-strip-frame) dashed var(--ck-strip-ink); outline-offset: 1px; }
.ck .ck-strip-field button[aria-pressed="true"] { box-shadow: 0 0 0 3px var(--ck-strip-surround), 0 0 0 6px var(--ck-strip-ink); z-index: 2; }
.ck .ck-strip-field button:focus-visible { outline: 3px solid var(--ck-strip-ink); outline-offset: 1px; z-index: 3; }
.ck .ck-strip-field button:focus-visible[aria-pressed="true"] { outline-offset: 8px; }
.ck-strip-edge { position: absolute; top: 0; bottom: 0; width: 64px; margin-left: -32px; pointer-events: none; }
.ck-strip-line { position: absolute; z-index: 2; left: 31px; top: 0; bottom: 20px; border-left: 2px dashed var(--ck-strip-ink); }
.ck-strip-hold, .ck-strip-grip { position: absolute; pointer-events: auto; cursor: ew-resize; }
.ck-strip-hold { z-index: 0; left: 20px; width: 24px; top: 0; bottom: 20px; touch-action: pan-y; } /* under the pieces: they stay to be tapped */
.ck-strip-grip { z-index: 4; left: 0; width: 64px; height: 44px; display: flex; align-items: center; justify-content: center; gap: 5px; touch-action: none;
  background: var(--ck-text); color: var(--ck-page); font-weight: 700; font-size: .9375rem; } /* neutral: it is near the swatches */
.ck-strip-grip::before, .ck-strip-grip::after { content: ""; border: 5px solid transparent; }
.ck-strip-grip::before { border-right-color: currentColor; border-left: 0; }
.ck-strip-grip::after { border-left-color: currentColor; border-right: 0; }
.ck-strip-edge:focus-visible { outline: none; }
.ck-strip-edge:focus-visible .ck-strip-grip { outline: 3px solid var(--ck-accent); outline-offset: 2px; z-index: 5; }
.ck-strip-steps { display: block; position: relative; height: 20px; margin-top: 6px; }
.ck-strip-step { position: absolute; top: 0; bottom: 0; font-size: .8125rem; line-height: 20px; text-align: center; overflow: hidden; }
.ck-strip-figures { position: relative; height: 22px; font-size: .875rem; }
.ck-strip-figures span { position: absolute; white-space: nowrap; transform: translateX(-50%); }
.ck-strip-figures span:first-child { transform: none; }
.ck-strip-figures span:last-child { transform: translateX(-100%); }
@container (max-width: 600px) { .ck-strip-figures span:nth-child(even) { display: none; } }
.ck .ck-strip-legend { margin: 4px 0 0; color: var(--ck-quiet); }
@container (max-width: 760px) { .ck-strip-state h3 { min-height: 2.4em; } } /* what stands above the hand keeps its height */
.ck-strip-sample { display: inline-block; width: 1em; height: 1em; margin-right: .5em; border: 2px dashed var(--ck-text); vertical-align: -.12em; }
`;
const SIDES = [72, 60, 50, 42, 34, 28, 22, 17, 13, 10];
const TALLEST = 430;
const apart_of = (side) => (side < 28 ? 4 : 8); // px between two pieces: there is room for a frame
const GRIP = 66, ROW = 48;

// The lowest level on which each overlaps none laid before it; what is laid comes from left to right.
function levels(lefts, wide, apart) {
  const ends = [];
  return lefts.map((left) => {
    let level = ends.findIndex((end) => end + apart <= left);
    if (level < 0) level = ends.push(0) - 1;
    ends[level] = left + wide;
    return level;
  });
}

// A piece is nowhere cut off: the ends of the scale lie half a piece inside the field.
function across(lightness, side, width) {
  return Math.min(Math.max((lightness / 100) * width, side / 2), width - side / 2);
}

const middle = (button) => [parseFloat(button.style.left) + button.offsetWidth / 2, parseFloat(button.style.bottom)];

function render({ model, el }) {
  begin(el, "strip", STYLE);
  const bands = make("div", { class: "ck-strip-bands" });
  const field = make("div", { class: "ck-strip-field", role: "group" });
  const track = make("div"); // the room of the grips
  const stage = make("div", { class: "ck-strip-stage" }, field, track);
  const steps = make("div", { class: "ck-strip-steps", "aria-hidden": "true" });
  const figures = make("div", { class: "ck-strip-figures", "aria-hidden": "true" });
  const legend = make("p", { class: "ck-strip-legend" }, make("span", { class: "ck-strip-sample", "aria-hidden": "true" }),
    "Dashed frame: borderline, it could belong to either group.");
  const frame = make("div", { class: "ck-strip" }, bands, stage, steps, figures, legend);
  el.append(frame);
  for (let lightness = 0; lightness <= 100; lightness += 10) {
    figures.append(make("span", { style: `left: ${lightness}%` }, lightness ? String(lightness) : "L* 0"));
  }
  const sheets = { colour: "", grey: "" };
  const hand = mover(model);
  let edges = [], grips = [], at = 0, held = false;
  const buttons = new Map(); // by name, dark to light

  // --- the pieces ---

  function lay() {
    const pieces = model.get("pieces"), width = field.clientWidth;
    if (!width) return;
    let side = SIDES[0], apart = apart_of(side), level = [];
    for (const tried of SIDES) {
      [side, apart] = [tried, apart_of(tried)];
      level = levels(pieces.map(([, lightness]) => across(lightness, side, width) - side / 2), side, apart);
      if ((Math.max(0, ...level) + 1) * (side + apart) <= TALLEST) break;
    }
    field.style.height = `${Math.max((Math.max(0, ...level) + 1) * (side + apart) + 16, 120)}px`;
    field.style.setProperty("--ck-strip-frame", side < 28 ? "1px" : "2px");
    field.setAttribute("aria-label", model.get("label"));
    legend.style.visibility = pieces.some(([, , , doubt]) => doubt) ? "visible" : "hidden"; // its place stays
    arrange(pieces.map(([name]) => name));
    const scale = side / model.get("side"), sheet = sheets[model.get("view")] || "";
    const size = model.get("sheet_size").map((length) => `${length * scale}px`).join(" ");
    pieces.forEach(([name, lightness, words, doubt], place) => {
      const button = buttons.get(name), spot = model.get("places")[name];
      button.setAttribute("aria-label", words);
      button.title = words;
      button.tabIndex = place === at ? 0 : -1;
      button.classList.toggle("ck-strip-doubt", doubt);
      Object.assign(button.style, {
        left: `${across(lightness, side, width) - side / 2}px`, bottom: `${8 + level[place] * (side + apart)}px`,
        width: `${side}px`, height: `${side}px`, backgroundSize: size, backgroundImage: spot && sheet ? `url("${sheet}")` : "none",
        backgroundPosition: spot ? `-${spot[0] * scale}px -${spot[1] * scale}px` : "",
        backgroundColor: spot ? "transparent" : model.get("greys")[place],
      });
    });
    mark();
  }

  // A button stays the same as long as its piece is there, so that the hand and the focus stay on it.
  function arrange(names) {
    if (JSON.stringify([...buttons.keys()]) === JSON.stringify(names)) return;
    const focused = [...buttons].find(([, button]) => button === document.activeElement);
    const old = new Map(buttons);
    buttons.clear();
    names.forEach((name) => buttons.set(name, old.get(name) || piece(name)));
    field.replaceChildren(...buttons.values());
    at = Math.max(0, focused ? names.indexOf(focused[0]) : Math.min(at, names.length - 1));
    if (focused && buttons.size) [...buttons.values()][at].focus();
  }

  function piece(name) {
    const button = make("button", { type: "button" });
    button.addEventListener("click", () => { point([...buttons.keys()].indexOf(name)); model.send({ tapped: name }); });
    button.addEventListener("keydown", (event) => {
      const all = [...buttons.values()], place = all.indexOf(button);
      const to = {
        ArrowRight: () => place + 1, ArrowLeft: () => place - 1, Home: () => 0, End: () => all.length - 1,
        ArrowUp: () => towards(all, place, 1, middle), ArrowDown: () => towards(all, place, -1, middle),
      }[event.key];
      if (!to) return;
      event.preventDefault();
      point(to());
    });
    return button;
  }

  function point(to) {
    const all = [...buttons.values()];
    if (!all[to]) return;
    if (all[at]) all[at].tabIndex = -1;
    at = to;
    all[at].tabIndex = 0;
    all[at].focus();
  }

  function mark() {
    const picked = new Set(model.get("picked"));
    for (const [name, button] of buttons) button.setAttribute("aria-pressed", String(picked.has(name)));
  }

  // --- the edges ---

  function limits(place) {
    const gap = model.get("gap");
    return [(place ? edges[place - 1] : 0) + gap, (place + 1 < edges.length ? edges[place + 1] : 100) - gap];
  }

  // What the hand does is seen at once.
  function move(place, value, settled) {
    const [low, high] = limits(place), old = edges[place];
    edges[place] = Math.min(Math.max(Math.round(value * 2) / 2, low), high);
    if (edges[place] === old && !settled) return;
    draw_edges();
    draw_bands();
    hand.tell([place, edges[place]], settled);
  }

  function edge(place) {
    const grip = make("span", { class: "ck-strip-grip", "aria-hidden": "true" }, make("span"));
    const hold = make("span", { class: "ck-strip-hold", "aria-hidden": "true" });
    const slider = make("div", { class: "ck-strip-edge", role: "slider", tabindex: 0, "aria-orientation": "horizontal" },
      make("span", { class: "ck-strip-line", "aria-hidden": "true" }), hold, grip);
    let keyed = false;
    slider.addEventListener("keydown", (event) => {
      const [low, high] = limits(place), now = edges[place];
      const to = { ArrowRight: now + 0.5, ArrowUp: now + 0.5, ArrowLeft: now - 0.5, ArrowDown: now - 0.5, PageUp: now + 5,
        PageDown: now - 5, Home: low, End: high }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      event.stopPropagation();
      keyed = true;
      move(place, to, false);
    });
    const let_go = () => {
      if (keyed) move(place, edges[place], true);
      keyed = false;
    };
    slider.addEventListener("keyup", let_go);
    slider.addEventListener("blur", let_go);
    for (const handle of [grip, hold]) handle.addEventListener("pointerdown", (event) => drag(event, handle, slider, place));
    return slider;
  }

  function drag(event, handle, slider, place) {
    if (event.button > 0 || held) return;
    event.preventDefault();
    slider.focus();
    handle.setPointerCapture(event.pointerId);
    const start = edges[place], width = field.clientWidth;
    let went = false;
    held = true;
    const slide = (moved) => {
      went = went || moved.clientX !== event.clientX;
      if (went) move(place, start + ((moved.clientX - event.clientX) / width) * 100, false);
    };
    const end = () => {
      handle.removeEventListener("pointermove", slide);
      for (const name of ENDS) handle.removeEventListener(name, end);
      held = false;
      if (went) move(place, edges[place], true);
      all();
    };
    handle.addEventListener("pointermove", slide);
    for (const name of ENDS) handle.addEventListener(name, end);
  }
  const ENDS = ["pointerup", "pointercancel", "lostpointercapture"];

  function draw_edges() {
    while (grips.length > edges.length) grips.pop().remove();
    while (grips.length < edges.length) {
      grips.push(edge(grips.length));
      stage.append(grips[grips.length - 1]);
    }
    const names = model.get("groups").map(([name]) => name), counted = counts();
    grips.forEach((slider, place) => {
      const words = `L* ${edges[place]}; ${counted[place]} ${names[place]}, ${counted[place + 1]} ${names[place + 1]}`;
      const [low, high] = limits(place);
      const told = { "aria-valuenow": edges[place], "aria-valuetext": words, "aria-valuemin": low, "aria-valuemax": high,
        "aria-label": `Edge between ${names[place]} and ${names[place + 1]}` };
      for (const [name, value] of Object.entries(told)) slider.setAttribute(name, value);
      slider.style.left = `${edges[place]}%`;
      slider.querySelector(".ck-strip-grip span").textContent = String(Math.round(edges[place] * 10) / 10);
    });
  }

  // Where a word has no room between its edges, all stand upright; never while an edge is in the hand.
  function draw_room() {
    if (held) return;
    const ends = [0, ...edges, 100];
    const least = Math.min(...ends.slice(1).map((end, place) => end - ends[place]));
    frame.classList.toggle("ck-strip-tight", (least / 100) * field.clientWidth < 84 && edges.length > 2);
  }

  // Grips that would lie on one another go into rows of their own; never while one is in the hand.
  function draw_rows() {
    if (held) return;
    const rows = levels(edges.map((value) => (value / 100) * field.clientWidth), GRIP, 0);
    const many = Math.max(0, ...rows) + 1;
    track.style.height = `${many * ROW}px`;
    grips.forEach((slider, place) => { slider.querySelector(".ck-strip-grip").style.bottom = `${(many - 1 - rows[place]) * ROW}px`; });
  }

  // --- the groups: counts follow the hand at once, the kernel says what is borderline ---

  function counts() {
    const ends = [-Infinity, ...edges, Infinity], lightness = model.get("all");
    return ends.slice(1).map((end, place) => lightness.filter((value) => value > ends[place] && value <= end).length);
  }

  function draw_bands() {
    const ends = [0, ...edges, 100], counted = counts();
    bands.replaceChildren(...model.get("groups").map(([name, doubtful], place) => {
      const bars = make("span", { class: "ck-strip-bars", "aria-hidden": "true" });
      bars.style.width = `${0.24 + 0.46 * place}em`;
      bars.style.background = "repeating-linear-gradient(90deg, currentColor 0 .24em, transparent .24em .46em)";
      const doubts = doubtful ? `${doubtful} borderline` : "";
      const band = make("div", { class: "ck-strip-band", title: `${name}: ${counted[place]} ${doubts}` },
        make("b", {}, ...(edges.length < 5 ? [bars] : []), name), make("span", {}, String(counted[place])), make("span", { class: "ck-quiet" }, doubts));
      band.style.left = `${ends[place]}%`;
      band.style.width = `${ends[place + 1] - ends[place]}%`;
      return band;
    }));
  }

  function draw_steps() {
    steps.replaceChildren(...model.get("steps").map(([low, high, tone, ink, words]) => {
      const step = make("span", { class: "ck-strip-step" }, words);
      Object.assign(step.style, { left: `${low}%`, width: `${high - low}%`, background: tone, color: ink });
      return step;
    }));
  }

  function colours() {
    el.style.setProperty("--ck-strip-surround", model.get("surround"));
    el.style.setProperty("--ck-strip-ink", model.get("ink"));
  }

  function all() {
    if (!held && !hand.still()) edges = [...model.get("edges")];
    draw_edges();
    draw_bands();
    draw_rows();
    draw_room();
  }

  const lay_once = once(lay), all_once = once(all);
  const gone = ["colour", "grey"].map((name) => addressed(model, name, () => "image/png", (address) => {
    sheets[name] = address;
    lay_once();
  }));
  colours();
  draw_steps();
  all();
  lay();
  for (const name of ["pieces", "places", "view", "greys", "label"]) model.on(`change:${name}`, lay_once);
  model.on("change:picked", mark);
  for (const name of ["edges", "groups", "all", "answered"]) model.on(`change:${name}`, all_once);
  for (const name of ["surround", "ink"]) model.on(`change:${name}`, colours);
  const seen = new ResizeObserver(() => { lay(); draw_rows(); draw_room(); });
  seen.observe(frame);
  return () => {
    seen.disconnect();
    gone.forEach((give_up) => give_up());
  };
}

export default { render };
