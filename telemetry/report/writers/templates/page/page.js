// Files may be dropped anywhere on the page, and the way up is shown. Without it the form does all.
(() => {
  "use strict";
  const form = () => document.querySelector("form.drop");
  const tell = (text) => { form().querySelector(".progress").textContent = text; };

  // While something is on its way, the page shows how far it is, and stays where it was scrolled to.
  const again = async () => {
    if (!("again" in document.body.dataset)) return;
    await new Promise((done) => setTimeout(done, 1500));
    try {
      const answer = await fetch(location.href, { credentials: "same-origin" });
      if (answer.ok && !form()?.querySelector(".progress").textContent) {
        const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
        const chosen = [...document.querySelectorAll("input[type=file]")].some((i) => i.files.length);
        if (!chosen) {
          // A page of another kind has scripts and styles of its own.
          if (fresh.body.className !== document.body.className) { location.reload(); return; }
          document.querySelector("main").replaceWith(fresh.querySelector("main"));
          if (!("again" in fresh.body.dataset)) delete document.body.dataset.again;
        }
      }
    } catch {
      const place = document.querySelector("[role=status]");
      if (place) place.textContent = "busbook does not answer: it may have been closed. " +
        "What was taken in is not lost: it goes on when busbook is started again.";
    }
    again();
  };
  again();

  const send = (files) => {
    if (!files.length) { tell("There was no file in what was dropped."); return; }
    const body = new FormData();
    for (const file of files) body.append("logs", file, file.name);
    const request = new XMLHttpRequest();
    request.open("POST", form().action);
    request.upload.addEventListener("progress", (event) => {
      const part = event.lengthComputable ? Math.round((100 * event.loaded) / event.total) : 0;
      tell(`${files.length} file${files.length === 1 ? "" : "s"} on the way: ${part} %`);
    });
    request.addEventListener("load", () => {
      if (request.responseURL.endsWith("/work")) location.assign("/work");
      else {
        const answer = new DOMParser().parseFromString(request.responseText, "text/html");
        const problem = answer.querySelector(".problem");
        tell(problem ? problem.textContent : request.responseText.slice(0, 200));
      }
    });
    request.addEventListener("error", () =>
      tell("busbook does not answer: it may have been closed. Start it and drop the files again."));
    request.send(body);
  };

  // The files in a folder that was dropped, to the bottom.
  const inside = async (entry) => {
    if (entry.isFile) return [await new Promise((take, fail) => entry.file(take, fail))];
    const reader = entry.createReader(), found = [];
    for (;;) {
      const some = await new Promise((take, fail) => reader.readEntries(take, fail));
      if (!some.length) return found;
      for (const one of some) if (!one.name.startsWith(".")) found.push(...await inside(one));
    }
  };

  document.addEventListener("dragover", (event) => {
    if (!form()) return;
    event.preventDefault();
    document.body.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) document.body.classList.remove("over");
  });
  document.addEventListener("drop", async (event) => {
    if (!form()) return;
    event.preventDefault();
    document.body.classList.remove("over");
    const entries = [...event.dataTransfer.items].map((one) => one.webkitGetAsEntry()).filter((e) => e);
    const files = [...event.dataTransfer.files];
    try {
      const found = entries.length ? (await Promise.all(entries.map(inside))).flat() : files;
      send(found);
    } catch {
      send(files);
    }
  });
  document.addEventListener("submit", (event) => {
    if (!form() || event.target !== form()) return;
    event.preventDefault();
    send([...form().querySelectorAll("input[type=file]")].flatMap((input) => [...input.files]));
  });
})();
