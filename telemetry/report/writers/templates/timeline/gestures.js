// Pointer, wheel, keys and links, and what each does to what is looked at.
const atPointer = (picture, looking, plot) => {
  const { svg, layout } = picture;
  const held = new Map();
  let drag = null;
  // A click in the lane of events goes to the nearest of them.
  const clicked = (event) => {
    const { x, y } = picture.at(event);
    if (y < layout.lane_top - 6 || y > layout.lane_top + layout.lane_height + 6) return;
    const far = (e) => Math.max(picture.x(e[0]) - x, x - picture.x(e[1]), 0) + (e[3] ? 3 : 0);
    const near = [...looking.data.events].sort((a, b) => far(a) - far(b))[0];
    if (near && far(near) < 12) looking.show(near[0], near[1]);
  };
  const pinched = () => {
    const [a, b] = [...held.values()], [from, to] = drag.times;
    if (Math.abs(a - b) < 0.02) return;
    const wide = (to - from) / (b - a);
    if (wide > 0) looking.look(from - a * wide, from + (1 - a) * wide);
  };
  svg.addEventListener("pointerdown", (event) => {
    const s = picture.time(event);
    if (event.button !== 0 || s === null) return;
    held.set(event.pointerId, picture.share(event));
    svg.setPointerCapture(event.pointerId);
    looking.point(s);
    const moves = event.pointerType === "touch" || event.shiftKey;
    drag = { kind: moves ? "pan" : "span", s, x: picture.at(event).x, moved: false };
    if (held.size === 2) {
      drag = { kind: "pinch", moved: true,
        times: [...held.values()].map((share) => looking.view.from + share * looking.length) };
    }
    if (event.pointerType === "mouse") event.preventDefault();
    plot.focus({ preventScroll: true });
  });
  svg.addEventListener("pointermove", (event) => {
    const s = picture.time(event);
    if (held.has(event.pointerId)) held.set(event.pointerId, picture.share(event));
    if (!drag) { if (s !== null) looking.point(s); return; }
    const at = picture.at(event).x;
    if (!drag.moved && Math.abs(at - drag.x) < 5) return;
    drag.moved = true;
    if (drag.kind === "pinch") pinched();
    else if (drag.kind === "pan" && !looking.isWhole) {
      looking.pan((drag.x - at) * picture.perUnit);
      drag.x = at;
    } else if (s !== null) {
      looking.point(s);
      if (drag.kind === "span") picture.choose(drag.s, s);
    }
  });
  const end = (event) => {
    held.delete(event.pointerId);
    const done = drag;
    drag = null;
    picture.choose(null);
    if (!done || event.type !== "pointerup") return;
    if (!done.moved) { looking.settle(); clicked(event); }
    else if (done.kind === "span") {
      const s = picture.nearest(event);
      looking.look(Math.min(done.s, s), Math.max(done.s, s));
      looking.say();
    }
  };
  svg.addEventListener("pointerup", end);
  svg.addEventListener("pointercancel", end);
  // The wheel alone scrolls the page, as everywhere.
  svg.addEventListener("wheel", (event) => {
    const by = event.deltaY || event.deltaX;
    if (event.ctrlKey || event.metaKey) looking.zoom(by > 0 ? 1.25 : 0.8, picture.time(event));
    else if (event.shiftKey && !looking.isWhole) looking.pan(Math.sign(by) * 0.1 * looking.length);
    else return;
    event.preventDefault();
  }, { passive: false });
};

const atKeys = (looking, plot) => {
  plot.tabIndex = 0;
  plot.setAttribute("role", "group");
  plot.setAttribute("aria-label", "Timeline. Left and right move along, with Shift they move the " +
    "reading. Plus and minus zoom, n and p step through the events, Home shows all.");
  plot.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    // With all of it in view there is nowhere to move to but the next reading.
    const along = (share) => (event.shiftKey || looking.isWhole
      ? looking.readShare(share / 20) : looking.panShare(share));
    const all = () => looking.showAll(), closer = () => looking.zoom(0.5);
    const actions = {
      ArrowLeft: () => along(-0.1), ArrowRight: () => along(0.1), Home: all, Escape: all,
      "+": closer, "=": closer, "-": () => looking.zoom(2),
      n: () => looking.forward(), p: () => looking.back(),
    };
    if (!(event.key in actions)) return;
    event.preventDefault();
    actions[event.key]();
    if (event.key !== "n" && event.key !== "p") looking.say();
  });
};

const atLinks = (looking, root, plot) => {
  for (const link of document.querySelectorAll("[data-from]")) {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      looking.show(Number(link.dataset.from), Number(link.dataset.to));
      root.scrollIntoView({ block: "start" });
      plot.focus({ preventScroll: true });
      looking.say();
    });
  }
};

const start = (root, data) => {
  const plot = root.querySelector(".plot");
  const pictures = ["wide", "narrow"].map((name) => new Picture(root, data, name));
  const tools = new Tools(root);
  const looking = new Looking(data, pictures, tools);
  tools.build(looking);
  for (const picture of pictures) atPointer(picture, looking, plot);
  atKeys(looking, plot);
  atLinks(looking, root, plot);
  window.addEventListener("resize", () => looking.draw());
  window.addEventListener("beforeprint", () => looking.showAll());
  looking.draw();
};

const root = document.getElementById("timeline");
const source = document.getElementById("timeline-data");
if (root && source) start(root, JSON.parse(source.textContent));
