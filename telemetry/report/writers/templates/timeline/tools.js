// What stands around the pictures: buttons, the places' ticks and values, and what is said.
const HINT = "Drag over a stretch to zoom into it. Shift and drag moves along. Ctrl and the " +
  "wheel zooms, Shift and the wheel moves; the wheel alone scrolls the page. By touch: one " +
  "finger moves, two zoom. With the timeline in focus: left and right move, with Shift they " +
  "move the reading; plus and minus zoom; n and p step through the events; Home shows all.";

const add = (parent, name, attributes = {}, text = "") => {
  const element = document.createElement(name);
  Object.assign(element, attributes);
  element.append(text);
  parent.append(element);
  return element;
};

const tick = (parent, name, action) => {
  const label = add(parent, "label");
  const box = add(label, "input", { type: "checkbox", checked: true });
  label.append(name);
  box.addEventListener("change", () => action(box.checked));
  return box;
};

class Tools {
  constructor(root) {
    this.root = root;
    this.bar = root.querySelector(".tools");
    this.rows = [...root.querySelectorAll(".names li")];
    this.names = this.rows.map((row) => row.querySelector(".name").textContent);
    this.field = document.querySelector("input[data-moment]");
    if (this.field) this.field.placeholder = "or click the timeline";
  }

  button(name, action) {
    const made = add(this.bar, "button", { type: "button" }, name);
    made.addEventListener("click", action);
    return made;
  }
  build(looking) {
    this.whole = this.button("Whole recording", () => looking.showAll());
    this.button("Closer", () => looking.zoom(0.5));
    this.button("Wider", () => looking.zoom(2));
    this.button("Earlier", () => looking.panShare(-0.5));
    this.button("Later", () => looking.panShare(0.5));
    this.button("Previous event", () => looking.back());
    this.button("Next event", () => looking.forward());
    tick(this.bar, "Fit the y axes", (on) => looking.fit(on));
    this.now = add(this.bar, "output", {}, "Point at the timeline, or tap it, to read it.");
    this.shown = add(this.bar, "span", { className: "extent" });
    this.live = add(this.bar, "p", { className: "unseen live", ariaLive: "polite" });
    this.event = add(this.bar, "p", { className: "where", ariaLive: "polite" });
    const hint = add(this.bar, "details", { className: "hint" });
    add(hint, "summary", {}, "How to look closer");
    add(hint, "p", {}, HINT);
    const coarsest = Math.max(0, ...looking.traces.map((t) => t.every));
    add(this.bar, "p", { className: "note" }, coarsest
      ? "The log is too long for this page to hold all of it: of every " +
        coarsest.toPrecision(2) + " s it holds the lowest and the highest reading. Nothing finer " +
        "can be seen here."
      : "");
    this.rows.forEach((row, place) => {
      const box = tick(row, "", (on) => {
        row.classList.toggle("off", !on);
        looking.switched(place, on);
      });
      box.setAttribute("aria-label", "Show " + this.names[place]);
      box.parentElement.append(row.querySelector(".swatch"), row.querySelector(".name"));
      row.prepend(box.parentElement);
    });
    this.bar.hidden = false;
    this.root.classList.add("live-tools");
  }

  extent(isWhole, words) {
    this.whole.disabled = isWhole;
    this.shown.textContent = words;
  }
  read(moment, readings) {
    this.now.textContent = moment;
    readings.forEach(([, voltage, current], k) => {
      this.rows[k].querySelector(".v").textContent = voltage;
      this.rows[k].querySelector(".a").textContent = current;
    });
  }
  moment(words) { if (this.field) this.field.value = words; }
  say(words) { this.live.textContent = words; }
  where(words) { this.event.textContent = words; }
}
