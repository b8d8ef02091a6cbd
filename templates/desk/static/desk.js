/* Small helps for pages that work without it. No library, nothing kept in the browser. */
"use strict";
(function () {
  const told = document.getElementById("told");
  window.desk = {
    tell(text, button) {
      told.replaceChildren(document.createTextNode(text));
      if (button) told.append(button);
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
      if (answer.status === 401) { location.href = (await answer.json()).login; throw new Error("logged out"); }
      return answer;
    },
  };
})();
