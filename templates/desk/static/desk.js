/* Small helps for pages that work without it. No library, nothing kept in the browser. */
"use strict";
(function () {
  const told = document.getElementById("told");
  window.desk = {
    tell(text, button) {
      told.replaceChildren(document.createTextNode(text));
      if (button) told.append(button);
    },
    link(path, text) {
      const made = document.createElement("a");
      made.href = path;
      made.target = "_blank";
      made.rel = "noopener";
      made.className = "button";
      made.textContent = text;
      return made;
    },
    token() {
      const found = document.querySelector('input[name="_csrf_token"]');
      return found ? found.value : "";
    },
    async send(path, body) {
      const answer = await fetch(path, {
        method: "POST",
        body,
        headers: { "x-asked-by": "script", "x-form-token": desk.token() },
      });
      if (answer.status === 401) throw new Error("logged out");
      return answer;
    },
  };
  /* Before what was typed leaves the page, it is asked whether the desk is there and the same person still logged in:
     the page of the answer would take it away. */
  const typed = (form) => [...form.elements].some((one) => one.tagName === "TEXTAREA" && one.value.trim() && one.value !== one.defaultValue);
  document.addEventListener("submit", async (event) => {
    const form = event.target, says = document.body.dataset;
    if (form.id === "entry" || form.dataset.asked || !form.elements.me || !typed(form)) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const by = event.submitter;
    try {
      const answer = await fetch("/in", { headers: { "x-asked-by": "script" } });
      if (answer.status === 401) return desk.tell(says.out, desk.link("/login", says.login));
      if (answer.ok && (await answer.json()).me !== form.elements.me.value) return desk.tell(says.other);
    } catch { return desk.tell(says.lost); }
    told.replaceChildren();
    form.dataset.asked = "yes";
    form.requestSubmit(by);
    delete form.dataset.asked;
  }, true);
  /* What takes a while says so, and is not sent twice. */
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.dataset.busy) return;
    if (form.dataset.sent) { event.preventDefault(); return; }
    form.dataset.sent = "yes";
    desk.tell(form.dataset.busy);
    setTimeout(() => { delete form.dataset.sent; told.replaceChildren(); }, 20000);
  });
})();
