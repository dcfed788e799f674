// The parts that every panel is put together from.

function choose(model, value) {
  model.set("value", value);
  model.save_changes();
}

// A field's own sentences: what it takes, and what was wrong with what was given.
function notes(model, field) {
  const hint = make("span", { class: "ck-quiet", id: fresh() });
  const problem = make("span", { class: "ck-problem", id: fresh(), role: "alert" });
  field.setAttribute("aria-describedby", `${hint.id} ${problem.id}`);
  follow(model, ["hint", "problem"], () => {
    hint.textContent = model.get("hint");
    problem.textContent = model.get("problem");
    hint.hidden = !hint.textContent;
    problem.hidden = !problem.textContent;
    field.setAttribute("aria-invalid", problem.textContent ? "true" : "false");
  });
  return [hint, problem];
}

const KINDS = {
  press(model, el) {
    const button = make("button", { type: "button" });
    follow(model, ["label", "hint", "main", "disabled", "unfolded"], () => {
      button.textContent = model.get("label");
      button.className = model.get("main") ? "ck-main" : "ck-press";
      button.disabled = model.get("disabled");
      button.title = model.get("hint");
      const open = model.get("unfolded");
      if (open === null) button.removeAttribute("aria-expanded");
      else button.setAttribute("aria-expanded", String(open));
    });
    button.addEventListener("click", () => model.send({ pressed: true }));
    el.append(button);
  },

  choice(model, el) {
    const set = make("fieldset"), name = fresh();
    follow(model, ["label", "options"], () => {
      const legend = make("legend", {}, model.get("label"));
      const rows = model.get("options").map(([words], place) => {
        const input = make("input", { type: "radio", name, value: place });
        input.addEventListener("change", () => choose(model, model.get("options")[place][1]));
        return make("label", {}, input, make("span", {}, words));
      });
      set.replaceChildren(legend, ...rows);
      tick();
    });
    function tick() {
      const value = JSON.stringify(model.get("value"));
      set.querySelectorAll("input").forEach((input, place) => {
        input.checked = JSON.stringify(model.get("options")[place][1]) === value;
      });
    }
    follow(model, ["disabled"], () => { set.disabled = model.get("disabled"); });
    model.on("change:value", tick);
    el.append(set);
  },

  pick(model, el) {
    const select = make("select", { id: fresh() }), label = make("label", { for: select.id });
    follow(model, ["label", "options"], () => {
      label.textContent = model.get("label");
      select.replaceChildren(...model.get("options").map(([words], place) => make("option", { value: place }, words)));
      mark();
    });
    function mark() {
      const value = JSON.stringify(model.get("value"));
      select.selectedIndex = model.get("options").findIndex((option) => JSON.stringify(option[1]) === value);
    }
    model.on("change:value", mark);
    follow(model, ["disabled"], () => { select.disabled = model.get("disabled"); });
    select.addEventListener("change", () => choose(model, model.get("options")[select.selectedIndex][1]));
    el.append(label, select, ...notes(model, select));
  },

  slide(model, el) {
    const input = make("input", { type: "range", id: fresh() });
    const label = make("label", { for: input.id }), words = make("output", { for: input.id });
    const marks = make("datalist", { id: fresh() });
    input.setAttribute("list", marks.id);
    const hand = mover(model);
    let held = false;
    const shown = () => { if (!held && !hand.still()) input.value = model.get("value"); };
    follow(model, ["label", "low", "high", "step", "marks"], () => {
      label.textContent = model.get("label");
      for (const [name, trait] of [["min", "low"], ["max", "high"], ["step", "step"]]) input[name] = model.get(trait);
      marks.replaceChildren(...model.get("marks").map((value) => make("option", { value })));
      shown();
    });
    follow(model, ["value", "words", "answered"], () => {
      shown();
      words.textContent = model.get("words");
      input.setAttribute("aria-valuetext", model.get("words"));
    });
    follow(model, ["disabled"], () => { input.disabled = model.get("disabled"); });
    input.addEventListener("input", () => { held = true; hand.tell(input.valueAsNumber, false); });
    input.addEventListener("change", () => { held = false; hand.tell(input.valueAsNumber, true); });
    el.append(label, input, words, marks);
  },

  line(model, el) {
    const input = model.get("rows") > 1 ? make("textarea", { rows: model.get("rows") }) : make("input", { type: "text" });
    input.id = fresh();
    input.autocomplete = "off";
    const label = make("label", { for: input.id });
    follow(model, ["label"], () => { label.textContent = model.get("label"); });
    follow(model, ["value"], () => { input.value = model.get("value"); });
    follow(model, ["disabled"], () => { input.disabled = model.get("disabled"); });
    input.addEventListener("change", () => choose(model, input.value));
    el.append(label, input, ...notes(model, input));
  },

  tick(model, el) {
    const input = make("input", { type: "checkbox" }), words = make("span");
    follow(model, ["label"], () => { words.textContent = model.get("label"); });
    follow(model, ["value"], () => { input.checked = model.get("value"); });
    follow(model, ["disabled"], () => { input.disabled = model.get("disabled"); });
    input.addEventListener("change", () => choose(model, input.checked));
    el.append(make("label", {}, input, words));
  },

  picture(model, el) {
    const image = make("img", { decoding: "async" });
    const gone = addressed(model, "data", () => model.get("mime"), (address) => {
      image.hidden = !address;
      if (address) image.src = address;
    });
    follow(model, ["alt"], () => { image.alt = model.get("alt"); });
    follow(model, ["size"], () => {
      const [width, height] = model.get("size");
      if (width) Object.assign(image, { width, height });
    });
    el.append(image);
    return gone;
  },

  words(model, el) {
    let text = null;
    follow(model, ["value", "level", "quiet"], () => {
      const level = model.get("level");
      const tag = level ? `h${level}` : "p";
      if (!text || text.tagName.toLowerCase() !== tag) { text = make(tag); el.replaceChildren(text); }
      text.textContent = model.get("value");
      text.className = model.get("quiet") ? "ck-quiet" : "";
      el.hidden = !model.get("value");
    });
  },

  said(model, el) {
    const text = make("p", { role: "status", "aria-live": "polite" });
    follow(model, ["value", "problem"], () => {
      text.textContent = model.get("problem") || model.get("value");
      text.classList.toggle("ck-problem", Boolean(model.get("problem")));
    });
    el.append(text);
  },

  rows(model, el) {
    follow(model, ["value", "head", "label"], () => {
      const head = make("tr", {}, ...model.get("head").map((words) => make("th", { scope: "col" }, words)));
      const body = model.get("value").map((row) => make("tr", {}, ...row.map((cell) => make("td", {}, String(cell)))));
      const table = make("table", {}, make("caption", {}, model.get("label")), make("thead", {}, head),
        make("tbody", {}, ...body));
      el.replaceChildren(make("div", { class: "ck-scroll", tabindex: 0, role: "region", "aria-label": model.get("label") },
        table));
    });
  },

  // Something to take home: the bytes go to the browser's own way of saving files.
  file(model, el) {
    const link = make("a", { class: "ck-press" });
    const gone = addressed(model, "data", () => model.get("mime"), (address) => {
      link.hidden = !address;
      if (address) link.href = address;
    });
    follow(model, ["label", "name"], () => { [link.textContent, link.download] = [model.get("label"), model.get("name")]; });
    el.append(link);
    return gone;
  },

  // Typeface and colours, once for the whole page.
  look(model, el) {
    const id = "ck-look";
    if (!document.getElementById(id)) {
      const style = make("style", { id });
      style.textContent = model.get("sheet");
      document.head.append(style);
      for (const [weight, trait] of [["400", "regular"], ["700", "bold"]]) {
        const data = model.get(trait);
        const there = [...document.fonts].some((face) => face.family.includes("Atkinson Hyperlegible Next") && face.weight === weight);
        if (!data.byteLength || there) continue; // `check` would say yes to a family that nobody has
        const face = new FontFace("Atkinson Hyperlegible Next", data, { weight });
        face.load().then((loaded) => document.fonts.add(loaded), () => {});
      }
    }
    el.hidden = true;
  },
};

function render({ model, el }) {
  const kind = model.get("kind");
  begin(el, kind);
  return KINDS[kind](model, el);
}

export default { render };
