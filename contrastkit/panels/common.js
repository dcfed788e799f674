// What all modules of a page share; it goes before each of them. Text from Python reaches the page as text only.

const SVG_TAGS = new Set(["svg", "g", "polygon", "polyline", "circle", "rect", "line", "text", "path", "title"]);

function make(tag, attributes = {}, ...children) {
  const element = SVG_TAGS.has(tag) ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children);
  return element;
}

const fresh = () => `ck-${Math.random().toString(36).slice(2)}`; // each part loads its module anew: counting would repeat

// The element of a part: its classes, its style sheet once a page; JupyterLab's own keys stay out of it.
function begin(el, part, css = "") {
  el.classList.add("ck", `ck-${part}-part`);
  el.setAttribute("data-lm-suppress-shortcuts", "true");
  const id = `ck-${part}-style`;
  if (!css || document.getElementById(id)) return;
  const style = make("style", { id });
  style.textContent = css;
  document.head.append(style);
}

// What is shown is kept true to its model by calling `paint` now and whenever one of `names` changes.
function follow(model, names, paint) {
  paint();
  for (const name of names) model.on(`change:${name}`, paint);
}

// Several things that change at once are drawn once.
function once(call) {
  let due = false;
  return () => {
    if (due) return;
    due = true;
    queueMicrotask(() => { due = false; call(); });
  };
}

// An address for bytes of the model, always of the newest ones; returns what gives it up.
function addressed(model, trait, mime, use) {
  let address = "";
  follow(model, [trait], () => {
    const old = address, data = model.get(trait);
    address = data.byteLength ? URL.createObjectURL(new Blob([data], { type: mime() })) : "";
    use(address);
    if (old) setTimeout(() => URL.revokeObjectURL(old), 2000); // whoever draws it may still be at it
  });
  return () => { if (address) URL.revokeObjectURL(address); };
}

// Of elements that lie freely, the place of the nearest one upwards (1) or downwards (-1), where sideways counts double.
function towards(elements, from, up, middle) {
  const [x, y] = middle(elements[from]);
  let best = -1, least = Infinity;
  elements.forEach((element, place) => {
    const [across, height] = middle(element), rise = (height - y) * up, cost = rise + 2 * Math.abs(across - x);
    if (rise > 1 && cost < least) [best, least] = [place, cost];
  });
  return best;
}

// What a hand moves is told one thing at a time, the newest when the last is answered; where it lets go is told at once,
// and no press that follows can come before it. Until all is answered (`still`), what the kernel says is out of date.
function mover(model) {
  let sent = 0, owed = null;
  function tell(moved, settled) {
    owed = !settled && model.get("answered") < sent ? moved : null;
    if (owed !== null) return;
    sent = Math.max(sent + 1, Date.now());
    model.send({ moved, settled, number: sent });
  }
  model.on("change:answered", () => { if (owed !== null) tell(owed, false); });
  return { tell, still: () => owed !== null || model.get("answered") < sent };
}

