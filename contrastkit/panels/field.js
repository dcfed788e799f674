// The palette twice: lightness across, hue up in one field, vividness up in the other. What is picked is marked in both.

const STYLE = `
.ck-fields { display: grid; grid-template-columns: minmax(0, 1fr); gap: 20px; }
@container (min-width: 760px) { .ck-fields { grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); } }
.ck-fields figure { margin: 0; }
.ck-fields figcaption { margin: 0 0 6px; font-weight: 700; }
.ck-field-plot { position: relative; height: clamp(260px, 40vh, 420px); background: var(--ck-field-surround); }
.ck .ck-field-plot button { position: absolute; min-width: 0; min-height: 0; padding: 0; border: 0; background-color: transparent;
  background-repeat: no-repeat; transform: translate(-50%, 50%); }
.ck .ck-field-plot button:focus-visible { outline: 3px solid var(--ck-field-ink); outline-offset: 1px; z-index: 3; }
.ck .ck-field-plot button[aria-pressed="true"] { box-shadow: 0 0 0 3px var(--ck-field-surround), 0 0 0 5px var(--ck-field-ink); z-index: 2; }
.ck-field-up { position: absolute; left: 6px; color: var(--ck-field-ink); font-size: .8125rem; transform: translateY(50%); pointer-events: none; }
.ck-field-across { position: relative; height: 22px; font-size: .875rem; }
.ck-field-across span { position: absolute; transform: translateX(-50%); white-space: nowrap; }
.ck-field-across span:first-child { transform: none; }
.ck-field-across span:last-child { transform: translateX(-100%); }
.ck-found { display: grid; gap: 8px; margin: 8px 0 0; padding: 0; list-style: none; }
.ck .ck-found button { display: flex; justify-content: flex-start; align-items: center; gap: 14px; width: 100%; text-align: left; }
.ck .ck-found button[aria-pressed="true"] { outline: 2px solid var(--ck-text); }
.ck-found-mat { display: inline-flex; gap: 4px; padding: 6px; background: var(--ck-field-surround); flex: none; }
.ck-found-tile { display: inline-block; background-repeat: no-repeat; }
`;
const PAD = 7; // hundredths of a plot that stay free above and below

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function styled() {
  if (document.getElementById("ck-field-style")) return;
  const style = make("style", { id: "ck-field-style" });
  style.textContent = STYLE;
  document.head.append(style);
}

function render({ model, el }) {
  styled();
  el.classList.add("ck", "ck-field-part");
  el.setAttribute("data-lm-suppress-shortcuts", "true");
  const fields = make("div", { class: "ck-fields" });
  const list = make("ul", { class: "ck-found" });
  el.append(fields, list);
  let sheet = "", at = [0, 0];

  function tile(name, side) {
    const [x, y] = model.get("places")[name] || [-9999, 0], scale = side / model.get("side");
    return {
      width: `${side}px`, height: `${side}px`, backgroundImage: sheet ? `url("${sheet}")` : "none",
      backgroundPosition: `-${x * scale}px -${y * scale}px`,
      backgroundSize: model.get("sheet_size").map((length) => `${length * scale}px`).join(" "),
    };
  }

  function tap(names) { model.send({ tapped: names }); }

  function plot(field, number) {
    const { title, low, high, marks, up } = field;
    const points = model.get("points"), picked = new Set(model.get("picked"));
    const side = points.length <= 60 ? 30 : points.length <= 200 ? 18 : 10;
    const height = (value) => PAD + ((value - low) / (high - low)) * (100 - 2 * PAD);
    const box = make("div", { class: "ck-field-plot", role: "group", "aria-label": title });
    for (const [value, words] of marks) {
      const mark = make("span", { class: "ck-field-up", "aria-hidden": "true" }, words);
      mark.style.bottom = `${height(value)}%`;
      box.append(mark);
    }
    const buttons = points.map(([name, lightness, hue, chroma, words, grey], place) => {
      const button = make("button", { type: "button", "aria-label": words, title: words, tabindex: place === at[number] ? 0 : -1,
        "aria-pressed": String(picked.has(name)) });
      Object.assign(button.style, tile(name, side), { left: `${Math.min(Math.max(lightness, 3), 97)}%`,
        bottom: `${height(up === "hue" ? hue : chroma)}%` });
      if (!model.get("places")[name]) button.style.backgroundColor = grey;
      button.addEventListener("click", () => { at[number] = place; tap([name]); });
      button.addEventListener("keydown", (event) => {
        const to = { ArrowRight: place + 1, ArrowLeft: place - 1, Home: 0, End: points.length - 1 }[event.key];
        if (to === undefined || !buttons[to]) return;
        event.preventDefault();
        buttons[at[number]].tabIndex = -1;
        at[number] = to;
        buttons[to].tabIndex = 0;
        buttons[to].focus();
      });
      return button;
    });
    box.append(...buttons);
    const across = make("div", { class: "ck-field-across", "aria-hidden": "true" });
    for (const lightness of [0, 20, 40, 60, 80, 100]) {
      across.append(make("span", { style: `left: ${lightness}%` }, lightness ? String(lightness) : "L* 0"));
    }
    return make("figure", {}, make("figcaption", {}, title), box, across);
  }

  function paint() {
    const kept = document.activeElement, figures = [...fields.children];
    const inside = figures.findIndex((figure) => figure.contains(kept));
    fields.replaceChildren(...model.get("fields").map(plot));
    if (inside >= 0) {
      const focused = fields.children[inside].querySelectorAll("button")[at[inside]];
      if (focused) focused.focus();
    }
  }

  function tell() {
    const picked = new Set(model.get("picked"));
    list.setAttribute("aria-label", model.get("label"));
    const had = [...list.querySelectorAll("button")].indexOf(document.activeElement);
    list.replaceChildren(...model.get("found").map(([names, words]) => {
      const mat = make("span", { class: "ck-found-mat", "aria-hidden": "true" }, ...names.map((name) => {
        const picture = make("span", { class: "ck-found-tile" });
        Object.assign(picture.style, tile(name, 56));
        return picture;
      }));
      const button = make("button", { type: "button", "aria-pressed": String(names.every((name) => picked.has(name))) }, mat,
        make("span", {}, words));
      button.addEventListener("click", () => tap(names));
      return make("li", {}, button);
    }));
    if (had >= 0 && list.querySelectorAll("button")[had]) list.querySelectorAll("button")[had].focus();
  }

  function load() {
    const old = sheet, data = model.get("sheet");
    sheet = data.byteLength ? URL.createObjectURL(new Blob([data], { type: "image/png" })) : "";
    if (old) setTimeout(() => URL.revokeObjectURL(old), 1000);
    paint();
    tell();
  }
  function colours() {
    el.style.setProperty("--ck-field-surround", model.get("surround"));
    el.style.setProperty("--ck-field-ink", model.get("ink"));
  }

  colours();
  load();
  model.on("change:sheet", load);
  for (const name of ["points", "fields", "picked", "places"]) model.on(`change:${name}`, paint);
  for (const name of ["found", "picked", "places", "label"]) model.on(`change:${name}`, tell);
  for (const name of ["surround", "ink"]) model.on(`change:${name}`, colours);
  return () => { if (sheet) URL.revokeObjectURL(sheet); };
}

export default { render };
