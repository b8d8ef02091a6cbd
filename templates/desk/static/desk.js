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
