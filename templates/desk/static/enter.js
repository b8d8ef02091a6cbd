/* Keeps every change of a form as it is made. Without it the form is sent whole by its button. */
"use strict";
(function () {
  const form = document.getElementById("entry");
  if (!form) return;
  const base = `/case/${form.dataset.case}`;
  const kept = document.getElementById("kept");
  const seen = form.elements.seen;
  let queue = Promise.resolve();
  let open = 0;

  const lines = (box, list, head) => {
    box.replaceChildren();
    if (!list.length) return;
    const note = document.createElement("div");
    note.className = "note";
    if (head) { const strong = document.createElement("strong"); strong.textContent = head; note.append(strong); }
    const ul = document.createElement("ul");
    ul.className = "plain";
    for (const line of list) { const li = document.createElement("li"); li.innerHTML = line; ul.append(li); }
    note.append(ul);
    box.append(note);
  };

  const others = (names) => {
    const box = document.getElementById("others");
    box.replaceChildren(...names.map((name) => {
      const p = document.createElement("p");
      p.innerHTML = `${name} ${form.dataset.also}`;
      return p;
    }));
  };

  function fault(box, text) {
    const place = box.querySelector(".fault");
    if (place) place.innerHTML = text || "";
    box.classList.toggle("wrong", Boolean(text));
    for (const input of box.querySelectorAll("input:not([type=hidden]), select, textarea, fieldset")) {
      if (text) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
    }
  }

  /* Questions that are kept together, such as those of a lens, are sent together. */
  const together = (box) => box.dataset.group
    ? [...form.querySelectorAll(`.field[data-group="${CSS.escape(box.dataset.group)}"]`)] : [box];

  function placeOne(answer, box) {
    const path = box.dataset.field;
    const own = Object.entries(answer.faults).filter(([name]) => name === path || name.startsWith(`${path}.`));
    if (answer.questions[path] && !own.length && !box.contains(document.activeElement)) {
      const hidden = box.querySelector('input[name="asked"]');
      box.innerHTML = answer.questions[path];
      box.prepend(hidden);
    }
    fault(box, own.map(([, text]) => text)[0]);
    if (own.length === 1 && own[0][0] !== path) {
      const inner = box.querySelector(`[name="${CSS.escape(own[0][0])}"]`);
      if (inner) inner.setAttribute("aria-invalid", "true");
    }
  }

  function place(answer, boxes) {
    seen.value = answer.seen;
    for (const box of boxes) placeOne(answer, box);
    const wrong = Object.keys(answer.faults).length;
    document.getElementById("picture").innerHTML = answer.picture;
    const stops = document.getElementById("stops");
    if (stops) stops.innerHTML = answer.stops;
    const glance = document.getElementById("glance");
    if (glance) glance.innerHTML = answer.glance;
    if (answer.told.length) lines(document.getElementById("meanwhile"), answer.told);
    others(answer.others);
    if (answer.kept) undo(answer);
    kept.textContent = wrong ? answer.words.not_kept : answer.words.kept;
    kept.classList.toggle("not-kept", Boolean(wrong));
  }

  function undo(answer) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = answer.words.undo;
    button.addEventListener("click", async () => {
      const body = new FormData();
      body.set("entry", answer.kept);
      body.set("screen", form.dataset.screen);
      const back = await desk.send(`${base}/undo`, body);
      if (back.ok) location.href = (await back.json()).to;
    });
    kept.parentElement.querySelector("button.undo-last")?.remove();
    button.className = "undo-last";
    kept.after(button);
  }

  async function keep(box) {
    kept.textContent = form.dataset.waiting;
    const boxes = together(box);
    const body = new FormData();
    for (const one of boxes) {
      for (const input of one.querySelectorAll("input, select, textarea")) {
        if ((input.type === "checkbox" || input.type === "radio") && !input.checked) continue;
        if (input.name) body.append(input.name, input.value);
      }
    }
    body.set("me", form.elements.me.value);
    for (;;) {
      body.set("seen", seen.value);
      try {
        const answer = await desk.send(form.action, body);
        if (answer.status === 429) { await new Promise((go) => setTimeout(go, 5000)); continue; }
        const said = await answer.json();
        if (said.seen === undefined) { fault(box, said.problems?.length ? said.problems[0].what : said.fault); kept.textContent = ""; return; }
        document.getElementById("told").replaceChildren();
        place(said, boxes);
        return;
      } catch (failure) {
        if (failure.message === "logged out") {
          if (!document.querySelector("#told a")) desk.tell(form.dataset.out, desk.link("/login", form.dataset.login));
        } else {
          kept.textContent = form.dataset.lost;
        }
        await new Promise((go) => setTimeout(go, 3000));
      }
    }
  }

  form.addEventListener("change", (event) => {
    const box = event.target.closest(".field");
    if (!box) return;
    open += 1;
    queue = queue.then(() => keep(box)).finally(() => { open -= 1; });
  });
  form.addEventListener("submit", (event) => {
    const goal = event.submitter?.value;
    if (!goal) return;
    event.preventDefault();
    document.activeElement?.blur();
    setTimeout(() => queue.then(() => {
      if (document.querySelector(".field.wrong")) { document.querySelector(".field.wrong").scrollIntoView({ block: "center" }); document.querySelector(".field.wrong").querySelector("input:not([type=hidden]), select, textarea")?.focus(); if (goal === form.dataset.screen) return; }
      if (!document.querySelector(".field.wrong")) location.href = `${base}/enter/${goal}`;
    }), 0);
  });
  addEventListener("beforeunload", (event) => { if (open) event.preventDefault(); });

  setInterval(async () => {
    if (document.hidden || open) return;
    try {
      const answer = await fetch(`${base}/news?since=${seen.value}`, { headers: { "x-asked-by": "page" } });
      if (!answer.ok) return;
      const said = await answer.json();
      others(said.others);
      if (said.told.length) {
        lines(document.getElementById("meanwhile"), said.told);
        const link = document.createElement("a");
        link.className = "button";
        link.href = location.pathname;
        link.textContent = form.dataset.reload;
        document.getElementById("meanwhile").firstChild.append(link);
        document.getElementById("picture").innerHTML = said.picture;
      }
    } catch (failure) { /* the next change tells that there is no connection */ }
  }, 15000);
})();
