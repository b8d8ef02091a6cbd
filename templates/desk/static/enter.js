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
  form.classList.add("by-script");
  /* A list is sent whole: it rests on the case as it was when the list was last looked at, so that nobody else's row
     is taken out unseen. */
  const LISTS = ".rows, .texts";
  for (const box of form.querySelectorAll(LISTS)) box.dataset.seen = seen.value;

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

  /* Put in place only where it says something else; what had the focus there has it again. */
  function put(id, html) {
    const box = document.getElementById(id);
    if (!box || html === undefined) return;
    const made = box.cloneNode(false);
    made.innerHTML = html;
    if (made.innerHTML === box.innerHTML) return;
    const links = [...box.querySelectorAll("a, button, summary")];
    const place = links.indexOf(document.activeElement);
    box.replaceChildren(...made.childNodes);
    if (place >= 0) box.querySelectorAll("a, button, summary")[place]?.focus({ preventScroll: true });
  }

  const around = (answer) => ["strip", "stops", "picture", "glance"].forEach((id) => put(id, answer[id]));

  /* What is wrong is said at the question itself: a question of a row is one by itself. */
  const inputsOf = (place) => [...place.querySelectorAll("input:not([type=hidden]), select, textarea")]
    .filter((one) => !one.name.endsWith(".remove"));

  function fault(place, text) {
    const said = place.querySelector(".fault");
    if (said) said.innerHTML = text || "";
    place.classList.toggle("wrong", Boolean(text));
    const own = inputsOf(place).filter((one) => place.matches(".inner") || !one.closest(".inner"));
    for (const one of [...own, ...place.querySelectorAll(":scope > fieldset")]) {
      if (text) one.setAttribute("aria-invalid", "true"); else one.removeAttribute("aria-invalid");
    }
  }

  /* A row, or a table that is there whole or not at all: begun with one answer, finished with those it needs. */
  const choosable = (one) => one.type === "checkbox" || one.type === "radio";
  const answered = (one) => (choosable(one) ? one.checked : one.value.trim() !== "");
  const says = (one) => answered(one) && one.dataset.usual === undefined;
  const needs = (part) => part.dataset.needed !== undefined && !inputsOf(part).some(answered);
  const tableOf = (box) => [...form.querySelectorAll(`.field[data-table="${CSS.escape(box.dataset.table)}"]`)];
  const partsOf = (row) => [...row.querySelectorAll(".inner")];
  const removed = (row) => Boolean(row.querySelector("[name$='.remove']")?.checked);
  const isNew = (row) => row.matches(".new") && row.dataset.sent === undefined;
  const isEmpty = (parts) => !parts.some((part) => inputsOf(part).some(says));
  const isBegun = (parts) => !isEmpty(parts) && parts.some(needs);
  const rowBegun = (row) => !removed(row) && isBegun(partsOf(row));
  const begunRows = (box) => [...box.querySelectorAll(".row")].filter(rowBegun);

  function wholeOf(target) {
    const row = target.closest?.(".row");
    if (row) return { parts: partsOf(row), roots: [row], begun: () => row.isConnected && rowBegun(row) };
    const box = target.closest?.(".field[data-table]");
    if (!box) return null;
    const parts = tableOf(box);
    return { parts, roots: parts, begun: () => isBegun(parts) };
  }

  const unmark = (whole) => { for (const part of whole.parts) if (!needs(part) || isEmpty(whole.parts)) fault(part, ""); };

  function mark(whole) {
    for (const part of whole.parts) if (needs(part)) fault(part, form.dataset.needed);
    tell();
  }

  const everyWhole = () => {
    const first = [...form.querySelectorAll(".field[data-table]")].filter((box) => tableOf(box)[0] === box);
    return [...form.querySelectorAll(".row"), ...first].map(wholeOf);
  };

  /* Nothing on the page says "kept" while something on it is not. */
  function tell(said) {
    const wrong = form.querySelector(".wrong");
    const begun = !wrong && everyWhole().some((whole) => whole.begun());
    if (wrong) kept.textContent = form.dataset.wrong;
    else if (begun) kept.textContent = form.dataset.unfinished;
    else if (said !== undefined) kept.textContent = said;
    else if (kept.classList.contains("not-kept")) kept.textContent = "";
    kept.classList.toggle("not-kept", Boolean(wrong || begun));
  }

  /* Where the person is: a row that was begun is looked at once it is left, never while a finger or a mouse is down,
     for what is pressed must not move away. */
  let current = null;
  let pressed = false;
  addEventListener("pointerdown", () => { pressed = true; }, true);
  for (const end of ["pointerup", "pointercancel", "dragend"]) addEventListener(end, () => { pressed = false; }, true);
  function look(whole) {
    if (pressed) setTimeout(look, 50, whole);
    else if (current?.roots[0] !== whole.roots[0] && whole.begun()) mark(whole);
  }
  function moved(event) {
    if (current?.roots.some((root) => root.contains(event.target))) return;
    const left = current;
    current = form.contains(event.target) ? wholeOf(event.target) : null;
    if (left?.begun()) setTimeout(look, 60, left);
  }
  document.addEventListener("focusin", moved);
  document.addEventListener("click", moved);

  function clear(row) {
    for (const one of inputsOf(row)) {
      if (choosable(one)) one.checked = one.type === "radio" && one.dataset.usual !== undefined;
      else one.value = "";
    }
    const tick = row.querySelector("[name$='.remove']");
    if (tick) tick.checked = false;
    for (const part of partsOf(row)) fault(part, "");
    row.classList.remove("begun");
    delete row.dataset.sent;
  }

  /* The empty row after ``last``, and its questions with names of their own. */
  function addRow(last) {
    const made = last.cloneNode(true);
    clear(made);
    const [, path, place] = /^(.*)\.(\d+)\.remove$/.exec(last.querySelector("[name$='.remove']").name);
    const id = `q-${path.replaceAll(".", "-")}-`;
    for (const one of made.querySelectorAll("[name], [id], [for], [aria-describedby]")) {
      for (const name of ["name", "id", "for", "aria-describedby"]) {
        const text = one.getAttribute(name);
        if (text === null) continue;
        one.setAttribute(name, text.replaceAll(`${path}.${place}.`, `${path}.${Number(place) + 1}.`)
          .replaceAll(`${id}${place}-`, `${id}${Number(place) + 1}-`));
      }
    }
    last.classList.remove("new", "begun");
    last.removeAttribute("aria-label");
    last.querySelector(".rowhead")?.remove();
    last.after(made);
  }

  function addLine(box) {
    const last = [...box.querySelectorAll("input.line")].pop();
    if (!last?.value.trim()) return;
    const made = last.cloneNode(true);
    made.value = "";
    made.removeAttribute("value");
    last.after(made);
  }

  /* Questions that are kept together, such as those of a lens, are sent together. */
  const together = (box) => box.dataset.group
    ? [...form.querySelectorAll(`.field[data-group="${CSS.escape(box.dataset.group)}"]`)] : [box];
  const stamp = (box) => JSON.stringify(inputsOf(box).map((one) => [one.name, one.value, one.checked]));

  /* Rows and lists after they were kept: drawn anew where nobody is in them, else only what was taken out or added. */
  function settle(box, html, sent) {
    const inside = box.contains(document.activeElement) || current?.roots.some((root) => box.contains(root));
    if (html && !inside && !begunRows(box).length && stamp(box) === sent.stamp) {
      const hidden = box.querySelector('input[name="asked"]');
      box.innerHTML = html;
      box.prepend(hidden);
      return;
    }
    for (const row of sent.rows) {
      const away = removed(row) && row.contains(document.activeElement);
      if (removed(row)) row.remove();
      else if (row.classList.contains("new") && !isEmpty(partsOf(row))) addRow(row);
      if (away) inputsOf(box.querySelector(".row"))[0]?.focus({ preventScroll: true });
    }
  }

  function placeOne(answer, box, sent) {
    const path = box.dataset.field;
    const own = Object.entries(answer.faults).filter(([name]) => name === path || name.startsWith(`${path}.`));
    fault(box, "");
    for (const row of box.querySelectorAll(".row")) if (!rowBegun(row)) partsOf(row).forEach((part) => fault(part, ""));
    if (own.length) sent.rows.forEach((row) => { delete row.dataset.sent; });
    for (const [name, text] of own) {
      const inner = box.querySelector(`[name="${CSS.escape(name)}"]`)?.closest(".inner");
      fault(inner || box, text);
    }
    if (box.dataset.seen) box.dataset.seen = answer.seen;
    if (!own.length && box.matches(LISTS)) settle(box, answer.questions[path], sent);
  }

  function place(answer, boxes, sent) {
    seen.value = answer.seen;
    for (const box of boxes) placeOne(answer, box, sent.get(box));
    const of = (box, name) => name === box.dataset.field || name.startsWith(`${box.dataset.field}.`);
    const elsewhere = Object.entries(answer.faults).filter(([name]) => !boxes.some((box) => of(box, name)));
    if (elsewhere.length && !boxes[0].matches(".wrong")) fault(boxes[0], elsewhere[0][1]);
    around(answer);
    if (answer.told.length) lines(document.getElementById("meanwhile"), answer.told);
    others(answer.others);
    if (answer.kept) undo(answer);
    tell(answer.words.kept);
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

  /* A row that is not finished yet waits in the page; one that was kept before and lacks something holds its list. */
  function bodyOf(boxes, sent) {
    const body = new FormData();
    for (const one of boxes) {
      const begun = begunRows(one);
      if (begun.some((row) => !isNew(row))) return null;
      const rows = [...one.querySelectorAll(".row")].filter((row) => !begun.includes(row));
      for (const input of one.querySelectorAll("input, select, textarea")) {
        if (choosable(input) && !input.checked) continue;
        if (input.name && !begun.some((row) => row.contains(input))) body.append(input.name, input.value);
      }
      sent.set(one, { stamp: stamp(one), rows });
    }
    for (const { rows } of sent.values()) for (const row of rows) if (!isEmpty(partsOf(row))) row.dataset.sent = "yes";
    return body;
  }

  async function keep(box) {
    const boxes = together(box);
    const sent = new Map();
    const body = bodyOf(boxes, sent);
    if (!body) { tell(); return; }
    kept.textContent = form.dataset.waiting;
    body.set("me", form.elements.me.value);
    for (;;) {
      body.set("seen", Math.min(...boxes.map((one) => Number(one.dataset.seen || seen.value))));
      try {
        const answer = await desk.send(form.action, body);
        if (answer.status === 429) { await new Promise((go) => setTimeout(go, 5000)); continue; }
        const said = await answer.json();
        if (said.seen === undefined) { fault(box, said.problems?.length ? said.problems[0].what : said.fault); kept.textContent = ""; return; }
        document.getElementById("told").replaceChildren();
        place(said, boxes, sent);
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

  form.addEventListener("input", (event) => {
    const row = event.target.closest(".row");
    row?.classList.toggle("begun", !isEmpty(partsOf(row)));
  });
  form.addEventListener("change", (event) => {
    const box = event.target.closest(".field");
    if (!box) return;
    const row = event.target.closest(".row");
    if (row && isNew(row) && removed(row)) { clear(row); tell(); return; }
    addLine(box);
    const whole = wholeOf(event.target);
    row?.classList.toggle("begun", !isEmpty(partsOf(row)));
    if (whole) unmark(whole);
    if (whole?.begun()) { current = whole; tell(); return; }
    if (row && isNew(row) && isEmpty(whole.parts)) { tell(); return; }
    open += 1;
    queue = queue.then(() => keep(box)).finally(() => { open -= 1; });
  });
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (button?.name === "rest" || button?.name === "usual") {
      if (open) { event.preventDefault(); queue.then(() => form.requestSubmit(button)); }
      return;
    }
    const goal = button?.value;
    if (!goal) return;
    event.preventDefault();
    document.activeElement?.blur();
    setTimeout(() => queue.then(() => {
      everyWhole().filter((whole) => whole.begun()).forEach(mark);
      const wrong = form.querySelector(".wrong");
      if (!wrong) {
        if (goal !== form.dataset.screen) location.href = goal === "case" ? base : `${base}/enter/${goal}`;
        return;
      }
      wrong.closest("details")?.setAttribute("open", "");
      wrong.scrollIntoView({ block: "center" });
      inputsOf(wrong)[0]?.focus();
      tell();
    }), 0);
  });
  addEventListener("beforeunload", (event) => { if (open || everyWhole().some((whole) => whole.begun())) event.preventDefault(); });

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
      }
      around(said);
    } catch (failure) { /* the next change tells that there is no connection */ }
  }, 15000);
})();
