// The palette twice: lightness across, hue up in one field, vividness up in the other; and pairs of pieces, told in words.
// What is picked is marked wherever it is seen.

const STYLE = `
.ck-fields { display: grid; grid-template-columns: minmax(0, 1fr); gap: 20px; }
@container (min-width: 760px) { .ck-fields, .ck-found { grid-template-columns: minmax(0, 1fr) minmax(0, 1fr) !important; } }
.ck-fields figure { margin: 0; }
.ck-fields figcaption { margin: 0 0 6px; font-weight: 700; }
.ck-field-plot { position: relative; isolation: isolate; height: clamp(280px, 46vh, 460px); background: var(--ck-field-surround); }
.ck .ck-field-plot button { position: absolute; min-width: 0; min-height: 0; padding: 0; border: 0; background-color: transparent;
  background-repeat: no-repeat; transform: translate(-50%, 50%); }
.ck .ck-field-plot button:hover { z-index: 1; }
.ck .ck-field-plot button[aria-pressed="true"] { box-shadow: 0 0 0 3px var(--ck-field-surround), 0 0 0 6px var(--ck-field-ink); z-index: 2; }
.ck .ck-field-plot button:focus-visible { outline: 3px solid var(--ck-field-ink); outline-offset: 1px; z-index: 3; }
.ck .ck-field-plot button:focus-visible[aria-pressed="true"] { outline-offset: 8px; }
.ck-field-up { position: absolute; left: 6px; color: var(--ck-field-ink); font-size: .8125rem; transform: translateY(50%); pointer-events: none; }
.ck-field-across { position: relative; height: 22px; font-size: .875rem; }
.ck-field-across span { position: absolute; transform: translateX(-50%); white-space: nowrap; }
.ck-field-across span:first-child { transform: none; }
.ck-field-across span:last-child { transform: translateX(-100%); }
.ck-found { display: grid; grid-template-columns: minmax(0, 1fr); gap: 8px; margin: 0; padding: 0; list-style: none; }
.ck .ck-found button { display: flex; justify-content: flex-start; align-items: center; gap: 14px; width: 100%; height: 100%; text-align: left; }
.ck .ck-found button[aria-pressed="true"] { box-shadow: inset 0 0 0 3px var(--ck-text); }
.ck-found-mat { display: inline-flex; gap: 4px; padding: 6px; background: var(--ck-field-surround); flex: none; }
.ck-found-tile { display: inline-block; background-repeat: no-repeat; }
`;
const PAD = 7; // hundredths of a plot that stay free above and below
const TILE = 56;

// The sheet of small pictures goes to the page once, and is known to both parts by its number.
const sheet_of = (model) => `--ck-sheet-${model.get("sheet_number")}`;

function dress(element, model, name, side, grey) {
  const place = model.get("places")[name], scale = side / model.get("side");
  Object.assign(element.style, {
    width: `${side}px`, height: `${side}px`, backgroundColor: place ? "transparent" : grey,
    backgroundImage: place ? `var(${sheet_of(model)})` : "none",
    backgroundPosition: place ? `-${place[0] * scale}px -${place[1] * scale}px` : "",
    backgroundSize: model.get("sheet_size").map((length) => `${length * scale}px`).join(" "),
  });
}

const middle = (button) => [button.offsetLeft, -button.offsetTop];

function fields(model, el) {
  const box = make("div", { class: "ck-fields" });
  el.append(box);
  let drawn = "", plots = [];
  const gone = addressed(model, "sheet", () => "image/png", (address) => {
    document.documentElement.style.setProperty(sheet_of(model), address ? `url("${address}")` : "none");
  });

  function plot({ title, marks, up, low, high }) {
    const height = (value) => PAD + ((value - low) / (high - low)) * (100 - 2 * PAD);
    const field = make("div", { class: "ck-field-plot", role: "group", "aria-label": title });
    for (const [value, words] of marks) {
      const mark = make("span", { class: "ck-field-up", "aria-hidden": "true" }, words);
      mark.style.bottom = `${height(value)}%`;
      field.append(mark);
    }
    const across = make("div", { class: "ck-field-across", "aria-hidden": "true" });
    for (const lightness of [0, 20, 40, 60, 80, 100]) {
      across.append(make("span", { style: `left: ${lightness}%` }, lightness ? String(lightness) : "L* 0"));
    }
    box.append(make("figure", {}, make("figcaption", {}, title), field, across));
    return { field, up, height, buttons: new Map(), at: 0 };
  }

  // A mark stays the same as long as its piece is there, so that the hand and the focus stay on it.
  function arrange(plot, names) {
    if (JSON.stringify([...plot.buttons.keys()]) === JSON.stringify(names)) return;
    const focused = [...plot.buttons].find(([, button]) => button === document.activeElement);
    const old = plot.buttons;
    plot.buttons = new Map(names.map((name) => [name, old.get(name) || mark_of(plot, name)]));
    for (const button of old.values()) button.remove();
    plot.field.append(...plot.buttons.values());
    plot.at = Math.max(0, focused ? names.indexOf(focused[0]) : Math.min(plot.at, names.length - 1));
    if (focused && names.length) [...plot.buttons.values()][plot.at].focus();
  }

  function mark_of(plot, name) {
    const button = make("button", { type: "button" });
    button.addEventListener("click", () => {
      point(plot, [...plot.buttons.keys()].indexOf(name));
      model.send({ tapped: [name] });
    });
    button.addEventListener("keydown", (event) => {
      const all = [...plot.buttons.values()], place = all.indexOf(button);
      const to = {
        ArrowRight: () => place + 1, ArrowLeft: () => place - 1, Home: () => 0, End: () => all.length - 1,
        ArrowUp: () => towards(all, place, 1, middle), ArrowDown: () => towards(all, place, -1, middle),
      }[event.key];
      if (!to) return;
      event.preventDefault();
      point(plot, to());
    });
    return button;
  }

  function point(plot, to) {
    const all = [...plot.buttons.values()];
    if (!all[to]) return;
    if (all[plot.at]) all[plot.at].tabIndex = -1;
    plot.at = to;
    all[to].tabIndex = 0;
    all[to].focus();
  }

  function paint() {
    const wanted = model.get("fields"), points = model.get("points");
    if (JSON.stringify(wanted) !== drawn) {
      drawn = JSON.stringify(wanted);
      box.replaceChildren();
      plots = wanted.map(plot);
    }
    const side = points.length <= 60 ? 30 : points.length <= 200 ? 18 : 10;
    for (const each of plots) {
      arrange(each, points.map(([name]) => name));
      points.forEach(([name, lightness, hue, chroma, words, grey], place) => {
        const button = each.buttons.get(name);
        dress(button, model, name, side, grey);
        button.setAttribute("aria-label", words);
        button.title = words;
        button.tabIndex = place === each.at ? 0 : -1;
        button.style.left = `${Math.min(Math.max(lightness, 3), 97)}%`;
        button.style.bottom = `${each.height(each.up === "hue" ? hue : chroma)}%`;
      });
    }
    mark();
  }

  function mark() {
    const picked = new Set(model.get("picked"));
    for (const { buttons } of plots) {
      for (const [name, button] of buttons) button.setAttribute("aria-pressed", String(picked.has(name)));
    }
  }

  paint();
  const paint_once = once(paint);
  for (const name of ["points", "fields", "places"]) model.on(`change:${name}`, paint_once);
  model.on("change:picked", mark);
  return () => {
    document.documentElement.style.removeProperty(sheet_of(model));
    gone();
  };
}

function pairs(model, el) {
  const list = make("ul", { class: "ck-found" });
  el.append(list);

  function tell() {
    const buttons = () => [...list.querySelectorAll("button")];
    const had = buttons().indexOf(document.activeElement);
    list.setAttribute("aria-label", model.get("label"));
    list.replaceChildren(...model.get("found").map(([names, words, greys]) => {
      const mat = make("span", { class: "ck-found-mat", "aria-hidden": "true" }, ...names.map((name, place) => {
        const tile = make("span", { class: "ck-found-tile" });
        dress(tile, model, name, TILE, greys[place]);
        return tile;
      }));
      const button = make("button", { type: "button" }, mat, make("span", {}, words));
      button.addEventListener("click", () => model.send({ tapped: names }));
      return make("li", {}, button);
    }));
    list.hidden = !list.children.length;
    mark();
    if (had >= 0 && buttons()[had]) buttons()[had].focus();
  }

  function mark() {
    const picked = new Set(model.get("picked"));
    list.querySelectorAll("button").forEach((button, place) => {
      const names = model.get("found")[place] ? model.get("found")[place][0] : [];
      button.setAttribute("aria-pressed", String(names.length > 0 && names.every((name) => picked.has(name))));
    });
  }

  tell();
  const tell_once = once(tell);
  for (const name of ["found", "places", "label"]) model.on(`change:${name}`, tell_once);
  model.on("change:picked", mark);
}

function render({ model, el }) {
  begin(el, "field", STYLE);
  function colours() {
    el.style.setProperty("--ck-field-surround", model.get("surround"));
    el.style.setProperty("--ck-field-ink", model.get("ink"));
  }
  colours();
  for (const name of ["surround", "ink"]) model.on(`change:${name}`, colours);
  return { fields, pairs }[model.get("kind")](model, el);
}

export default { render };
