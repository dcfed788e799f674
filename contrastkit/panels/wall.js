// A picture to scale: the whole wall, on which a block can be pointed at, or one block; with its measures round it.
// Below it, where there is one, a finished page that opens on a page of its own.

const STYLE = `
.ck-wall { display: grid; grid-template-columns: minmax(0, 1fr) auto; gap: 6px; margin: 0; width: 100%; }
.ck-wall figure, .ck-wall-field { position: relative; margin: 0; }
.ck-wall-field img { display: block; width: 100%; height: auto; }
.ck-wall-list { position: absolute; inset: 0; }
.ck-wall-list:focus-visible { outline: 3px solid var(--ck-accent); outline-offset: 2px; }
.ck-wall-block { position: absolute; cursor: pointer; }
.ck-wall-block[aria-selected="true"] { outline: 2px solid #fff; box-shadow: 0 0 0 4px #111; }
.ck-wall-across, .ck-wall-up { display: flex; align-items: center; gap: 8px; white-space: nowrap; font-size: .9375rem; }
.ck-wall-up { writing-mode: vertical-rl; }
.ck-wall-across::before, .ck-wall-across::after { content: ""; flex: 1; border-top: 1px solid var(--ck-quiet); }
.ck-wall-up::before, .ck-wall-up::after { content: ""; flex: 1; border-left: 1px solid var(--ck-quiet); }
.ck-wall-across { border: solid var(--ck-quiet); border-width: 0 1px; }
.ck-wall-up { border: solid var(--ck-quiet); border-width: 1px 0; }
@media (max-width: 480px) { .ck-wall-up { font-size: .875rem; } }
`;

function wall(model, el) {
  const image = make("img", { decoding: "async" });
  const list = make("div", { role: "listbox", tabindex: 0, class: "ck-wall-list" });
  const across = make("div", { class: "ck-wall-across", "aria-hidden": "true" }, make("span"));
  const up = make("div", { class: "ck-wall-up", "aria-hidden": "true" }, make("span"));
  const field = make("div", { class: "ck-wall-field" }, image, list);
  const frame = make("div", { class: "ck-wall" }, field, up, across);
  el.append(frame);
  const stem = fresh();

  const gone = addressed(model, "data", () => model.get("mime"), (address) => {
    image.hidden = !address;
    if (address) image.src = address;
  });
  follow(model, ["alt"], () => { image.alt = model.get("alt"); });
  follow(model, ["size"], () => {
    const [width, height] = model.get("size");
    if (!width) return;
    Object.assign(image, { width, height });
    // As large as there is room for, and no higher than what is seen at once.
    frame.style.maxWidth = `calc(${(width / height).toFixed(4)} * ${model.get("tall")}vh)`;
  });
  follow(model, ["measures"], () => {
    const [wide, high] = model.get("measures");
    across.firstChild.textContent = wide;
    up.firstChild.textContent = high;
    up.hidden = !high;
  });
  follow(model, ["label"], () => { list.setAttribute("aria-label", model.get("label")); });
  follow(model, ["blocks"], () => {
    const blocks = model.get("blocks");
    list.hidden = blocks.length < 1;
    list.replaceChildren(...blocks.map(([words, left, top, width, height], place) => {
      const block = make("div", { role: "option", id: `${stem}-${place}`, class: "ck-wall-block", "aria-label": words });
      Object.assign(block.style, { left: `${left}%`, top: `${top}%`, width: `${width}%`, height: `${height}%` });
      block.addEventListener("click", () => choose(place));
      return block;
    }));
    mark();
  });
  model.on("change:value", mark);

  function mark() {
    const value = model.get("value");
    [...list.children].forEach((block, place) => block.setAttribute("aria-selected", String(place === value)));
    if (list.children.length) list.setAttribute("aria-activedescendant", `${stem}-${value}`);
  }
  function choose(place) {
    const last = model.get("blocks").length - 1;
    model.set("value", Math.min(Math.max(place, 0), last));
    model.save_changes();
  }
  list.addEventListener("keydown", (event) => {
    const value = model.get("value"), row = model.get("in_row"), last = model.get("blocks").length - 1;
    const to = { ArrowRight: value + 1, ArrowLeft: value - 1, ArrowDown: value + row, ArrowUp: value - row, Home: 0, End: last };
    if (!(event.key in to)) return;
    event.preventDefault();
    event.stopPropagation();
    if (to[event.key] >= 0 && to[event.key] <= last) choose(to[event.key]);
  });
  return gone;
}

function paper(model, el) {
  const link = make("a", { class: "ck-press", target: "_blank", rel: "noopener" });
  follow(model, ["label"], () => { link.textContent = model.get("label"); });
  const gone = addressed(model, "data", () => "text/html", (address) => {
    link.hidden = !address;
    if (address) link.href = address;
  });
  el.append(link);
  return gone;
}

function render({ model, el }) {
  begin(el, model.get("kind"), STYLE);
  return { wall, paper }[model.get("kind")](model, el);
}

export default { render };
