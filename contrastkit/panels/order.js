// Swatches under numbers, moved into an order from dark to light by hand, touch or keys.

const STYLE = `
.ck-order { display: flex; flex-wrap: wrap; align-items: stretch; gap: 4px; margin: 0; padding: 12px; list-style: none;
  background: var(--ck-order-surround); min-height: 120px; touch-action: pan-y; }
.ck-order-place { display: flex; flex-direction: column; justify-content: flex-end; gap: 4px; margin: 0; padding: 4px; }
.ck-order-place.ck-many { outline: 1px dashed var(--ck-order-ink); }
.ck .ck-order button { display: flex; flex-direction: column; align-items: center; gap: 6px; padding: 6px; min-width: 60px;
  background: transparent; border: 1px solid transparent; color: var(--ck-order-ink); cursor: grab; font-weight: 700; touch-action: none; }
.ck .ck-order button:hover { text-decoration: none; border-color: var(--ck-order-ink); }
.ck .ck-order button[aria-pressed="true"] { border: 2px dashed var(--ck-order-ink); cursor: grabbing; }
.ck .ck-order button:focus-visible { outline: 3px solid var(--ck-order-ink); outline-offset: 1px; }
.ck-order-tile { display: block; background-repeat: no-repeat; }
.ck-order-before { box-shadow: -4px 0 0 0 var(--ck-order-ink); }
.ck-order-after { box-shadow: 4px 0 0 0 var(--ck-order-ink); }
.ck-order-onto { outline: 3px solid var(--ck-order-ink); }
.ck-order::before, .ck-order::after { align-self: center; padding: 0 8px; color: var(--ck-order-ink); }
.ck-order::before { content: "darkest" / ""; } /* where the row begins and ends, however it is broken; the list's name says it too */
.ck-order::after { content: "lightest" / ""; }
.ck-order-mark { font-weight: 400; font-size: .875rem; max-width: 90px; }
`;

function render({ model, el }) {
  begin(el, "order", STYLE);
  const list = make("ol", { class: "ck-order" });
  const told = make("p", { class: "ck-quiet", role: "status", "aria-live": "assertive" });
  el.append(list, told);
  let sheet = "", held = null, dragged = null;

  const order = () => model.get("order").map((place) => [...place]);
  const placeOf = (number) => model.get("order").findIndex((place) => place.includes(number));
  const locked = () => model.get("locked");

  function put(places, number, words) {
    model.set("order", places.filter((place) => place.length));
    model.save_changes();
    paint();
    const button = list.querySelector(`[data-number="${number}"]`);
    if (button) button.focus();
    told.textContent = words;
  }

  // To another place: `way` -1 darker, 1 lighter. A piece that lies with others leaves them first.
  function step(number, way) {
    const places = order(), at = placeOf(number);
    if (places[at].length > 1) {
      places[at] = places[at].filter((other) => other !== number);
      places.splice(way < 0 ? at : at + 1, 0, [number]);
    } else {
      const to = at + way;
      if (to < 0 || to >= places.length) return;
      places.splice(to, 0, ...places.splice(at, 1));
    }
    const now = places.findIndex((place) => place.includes(number)) + 1;
    put(places, number, `Number ${number} is now in place ${now} of ${places.length}.`);
  }

  function join(number, at) {
    const places = order(), from = placeOf(number);
    if (at < 0 || at >= places.length || at === from) return;
    places[from] = places[from].filter((other) => other !== number);
    places[at].push(number);
    put(places, number, `Number ${number} lies with ${places[at].filter((other) => other !== number).join(", ")}: equal.`);
  }

  function insert(number, at) {
    const places = order(), from = placeOf(number), alone = places[from].length === 1;
    places[from] = places[from].filter((other) => other !== number);
    places.splice(at, 0, [number]);
    const kept = places.filter((place) => place.length);
    if (alone && (at === from || at === from + 1)) return paint();
    put(kept, number, `Number ${number} is now in place ${kept.findIndex((place) => place.includes(number)) + 1}.`);
  }

  function hold(number) {
    held = held === number ? null : number;
    for (const button of list.querySelectorAll("button")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.number) === held));
    }
    told.textContent = held === null ? "" : `Number ${held} is held. Arrows move it, = lays it with its darker neighbour.`;
  }

  function keys(event, number) {
    if (locked()) return;
    const buttons = [...list.querySelectorAll("button")], at = buttons.indexOf(event.currentTarget);
    const way = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
    if (way && held === number) step(number, way);
    else if (way) buttons[Math.min(Math.max(at + way, 0), buttons.length - 1)].focus();
    else if (event.key === "=" && placeOf(number) > 0) join(number, placeOf(number) - 1);
    else if (event.key === "Escape" && held !== null) hold(held);
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  // Under the pointer: between two places, or onto one.
  function target(x, y) {
    for (const [at, place] of [...list.children].entries()) {
      const box = place.getBoundingClientRect();
      if (y < box.top || y > box.bottom || x < box.left - 4 || x > box.right + 4) continue;
      const share = (x - box.left) / box.width;
      return share < 0.3 ? { at, kind: "before" } : share > 0.7 ? { at, kind: "after" } : { at, kind: "onto" };
    }
    return null;
  }

  function shown(found) {
    [...list.children].forEach((place, at) => {
      for (const kind of ["before", "after", "onto"]) {
        place.classList.toggle(`ck-order-${kind}`, Boolean(found) && found.at === at && found.kind === kind);
      }
    });
  }

  function grab(event, number) {
    if (locked() || event.button > 0) return;
    const button = event.currentTarget, start = [event.clientX, event.clientY];
    dragged = null;
    button.setPointerCapture(event.pointerId);
    const move = (moved) => {
      const far = Math.hypot(moved.clientX - start[0], moved.clientY - start[1]);
      if (dragged === null && far < 6) return;
      dragged = number;
      button.style.transform = `translate(${moved.clientX - start[0]}px, ${moved.clientY - start[1]}px)`;
      button.style.zIndex = "5";
      shown(target(moved.clientX, moved.clientY));
    };
    const end = (ended) => {
      button.removeEventListener("pointermove", move);
      button.removeEventListener("pointerup", end);
      button.removeEventListener("pointercancel", end);
      button.style.transform = button.style.zIndex = "";
      if (dragged === null) return;
      const found = ended.type === "pointerup" ? target(ended.clientX, ended.clientY) : null;
      shown(null);
      if (!found) return;
      if (found.kind === "onto") join(number, found.at);
      else insert(number, found.kind === "before" ? found.at : found.at + 1);
    };
    button.addEventListener("pointermove", move);
    button.addEventListener("pointerup", end);
    button.addEventListener("pointercancel", end);
  }

  function tile(number) {
    const [x, y] = model.get("places")[number] || [0, 0], side = model.get("side");
    const picture = make("span", { class: "ck-order-tile", "aria-hidden": "true" });
    Object.assign(picture.style, {
      width: `${side}px`, height: `${side}px`, backgroundImage: sheet ? `url("${sheet}")` : "none",
      backgroundPosition: `-${x}px -${y}px`,
    });
    return picture;
  }

  function paint() {
    const places = model.get("order"), marks = model.get("marks");
    const had = list.contains(document.activeElement) ? document.activeElement.dataset.number : undefined;
    list.setAttribute("aria-label", model.get("label"));
    list.replaceChildren(...places.map((numbers, at) => {
      const buttons = numbers.map((number) => {
        const words = `Number ${number}, place ${at + 1} of ${places.length}` +
          (numbers.length > 1 ? `, equal to ${numbers.filter((other) => other !== number).join(", ")}` : "");
        const mark = marks[number] || "";
        const button = make("button", { type: "button", "data-number": number, "aria-pressed": String(held === number),
          "aria-label": mark ? `${words}; ${mark}` : words }, tile(number), make("span", {}, String(number)));
        if (mark) button.append(make("span", { class: "ck-order-mark" }, mark));
        button.addEventListener("click", () => { if (dragged === null && !locked()) hold(number); dragged = null; });
        button.addEventListener("keydown", (event) => keys(event, number));
        button.addEventListener("pointerdown", (event) => grab(event, number));
        return button;
      });
      return make("li", { class: numbers.length > 1 ? "ck-order-place ck-many" : "ck-order-place" }, ...buttons);
    }));
    list.hidden = !places.length;
    const again = had === undefined ? null : list.querySelector(`[data-number="${had}"]`);
    if (again) again.focus();
  }

  function surround() {
    el.style.setProperty("--ck-order-surround", model.get("surround"));
    el.style.setProperty("--ck-order-ink", model.get("ink"));
  }

  const gone = addressed(model, "sheet", () => "image/png", (address) => { sheet = address; paint(); });
  surround();
  for (const name of ["order", "marks", "places", "label"]) model.on(`change:${name}`, paint);
  model.on("change:locked", () => { held = null; paint(); });
  for (const name of ["surround", "ink"]) model.on(`change:${name}`, surround);
  return gone;
}

export default { render };
