// What the page says while it is being made, and if what runs behind it is gone.
const contrastkit = (() => {
  const LOOKED_AT = 3000; // ms
  const SLOW = 15000; // ms
  const QUIET = 200; // ms
  const progress = () => document.getElementById("ck-progress");
  const begun = Date.now();
  let said = "";

  function say(sentence) {
    said = sentence;
    progress().textContent = sentence;
  }

  function trouble(sentence) {
    const box = document.getElementById("ck-trouble");
    if (!box.hidden) return;
    const words = document.createElement("p"), again = document.createElement("button");
    words.textContent = sentence;
    again.type = "button";
    again.textContent = "Open the page again";
    again.addEventListener("click", () => location.reload());
    box.replaceChildren(words, again);
    box.hidden = false;
    say("");
  }

  // The kernel of this page: the program that measures, sorts and draws.
  function watch(kernel) {
    let missed = 0;
    async function look() {
      try {
        const answer = await fetch(`/alive/${kernel}`, { cache: "no-store" });
        missed = 0;
        if (answer.ok && !(await answer.json()).alive) {
          return trouble("What works behind this page has stopped. All that was kept is safe; what was not is lost.");
        }
      } catch {
        if (++missed > 1) {
          return trouble(
            "contrastkit is no longer running on this computer. All that was kept is safe. Start it again with " +
            "“contrastkit open”; this page cannot go on."
          );
        }
      }
      return setTimeout(look, LOOKED_AT);
    }
    setTimeout(look, LOOKED_AT);
  }

  // Panels come after the page, part by part: say so until all are there and nothing more is added.
  function draw() {
    const wanted = document.querySelectorAll(".ck-output").length;
    const parts = (which) => [...document.querySelectorAll(which)];
    const filled = (which) => parts(which).every((part) => part.children.length);
    const drawn = () => parts(".ck-output > .jp-OutputArea-output").length >= wanted &&
      filled(".ck-output > .jp-OutputArea-output, .ck-output .ck-panel, .ck-output .widget-subarea");
    let changed = Date.now();
    const watcher = new MutationObserver(() => { changed = Date.now(); });
    watcher.observe(document.getElementById("work"), { childList: true, subtree: true });
    say(wanted ? "Drawing the panel." : "");
    const look = () => {
      if (drawn() && Date.now() - changed > QUIET) {
        watcher.disconnect();
        say("");
        document.documentElement.dataset.ready = "true";
        return;
      }
      if (Date.now() - begun > SLOW && said) say("Still drawing the panel: this takes longer than it should.");
      setTimeout(look, 50);
    };
    look();
  }

  // Voila calls this while a step takes long.
  window.voila_heartbeat = () => { if (!said.startsWith("Still")) say(`Still at it. ${said}`); };
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); }); // its kernel was stopped
  return { say, watch, draw };
})();
