// Photographs dropped or chosen, sent to the kernel part by part: it says which part it wants next, or why none.

const STYLE = `
.ck-drop { border: 2px dashed var(--ck-edge); padding: 16px; background: var(--ck-raised); }
.ck-drop[data-over="true"] { border-style: solid; outline: 3px solid var(--ck-accent); }
.ck-drop-row { display: flex; flex-wrap: wrap; align-items: center; gap: 8px 16px; }
.ck-drop-row p { margin: 0; }
.ck-drop progress { width: 100%; height: 12px; accent-color: var(--ck-text); }
`;

function render({ model, el }) {
  begin(el, "drop", STYLE);
  const input = make("input", { type: "file", multiple: "", tabindex: "-1", hidden: "", "aria-label": "Photographs" });
  const choose = make("button", { type: "button" }), cancel = make("button", { type: "button", class: "ck-press" });
  const hint = make("p", { class: "ck-quiet" }), words = make("p", { role: "status", "aria-live": "polite" });
  const bar = make("progress", { max: "100", "aria-label": "Sent" });
  const field = make("div", { class: "ck-drop" }, make("div", { class: "ck-drop-row" }, choose, hint, cancel, input), words, bar);
  el.append(field);
  cancel.textContent = "Stop sending";

  let waiting = [], current = null, number = 0, count = 0, told = 0;

  function dress() {
    choose.textContent = model.get("label");
    choose.className = model.get("main") ? "ck-main" : "ck-press";
    hint.textContent = model.get("hint");
    input.accept = model.get("accept").join(",");
  }

  function show(sentence, share = null) {
    words.textContent = sentence;
    words.hidden = !sentence;
    bar.hidden = share === null;
    cancel.hidden = share === null;
    if (share !== null) bar.value = share;
  }

  function add(files) {
    const list = [...files];
    if (!list.length) return;
    if (!current && !waiting.length) { number = 0; count = 0; }
    count += list.length;
    waiting.push(...list);
    if (!current) next();
  }

  function next() {
    const file = waiting.shift();
    if (!file) {
      current = null;
      show("");
      return;
    }
    number += 1;
    current = { id: fresh(), file };
    told = 0;
    show(`Sending ${number} of ${count}: ${file.name}`, 0);
    model.send({ offer: current.id, name: file.name, size: file.size, number, count });
  }

  async function send(id, from, length) {
    if (!current || current.id !== id) return;
    const { file } = current;
    let part;
    try {
      part = await file.slice(from, from + length).arrayBuffer();
      if (!part.byteLength) throw new Error("nothing there");
    } catch {
      model.send({ lost: id, name: file.name });
      next();
      return;
    }
    if (!current || current.id !== id) return;
    const share = Math.min(100, Math.round((100 * (from + part.byteLength)) / file.size));
    bar.value = share;
    if (share - told >= 25) { // not at every part, or a screen reader would never end
      told = share;
      show(`Sending ${number} of ${count}: ${file.name}, ${share} % sent`, share);
    }
    model.send({ part: id }, undefined, [part]);
  }

  function heard(message) {
    if (!current || (message.send ?? message.done) !== current.id) return;
    if (message.send) send(message.send, message.from, message.length);
    else next();
  }

  choose.addEventListener("click", () => input.click());
  input.addEventListener("change", () => { add(input.files); input.value = ""; });
  cancel.addEventListener("click", () => {
    if (current) model.send({ cancel: current.id, name: current.file.name });
    waiting = [];
    current = null;
    show("Stopped: what was not sent is left out.");
    choose.focus();
  });
  for (const name of ["dragenter", "dragover"]) {
    field.addEventListener(name, (event) => {
      event.preventDefault();
      event.stopPropagation();
      field.dataset.over = "true";
    });
  }
  field.addEventListener("dragleave", (event) => {
    if (!field.contains(event.relatedTarget)) delete field.dataset.over;
  });
  field.addEventListener("drop", (event) => {
    event.preventDefault();
    event.stopPropagation();
    delete field.dataset.over;
    add(event.dataTransfer.files);
  });

  dress();
  show("");
  for (const name of ["label", "hint", "main", "accept"]) model.on(`change:${name}`, dress);
  model.on("msg:custom", heard);
  return () => { if (current) model.send({ cancel: current.id, name: current.file.name }); };
}

export default { render };
