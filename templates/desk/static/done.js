/* Shows how what is being entered differs from what was agreed, as it is entered. Nothing is recorded. */
"use strict";
(function () {
  const form = document.getElementById("done");
  const place = document.getElementById("unlike");
  if (!form || !place) return;
  let waiting = 0;
  let asked = 0;
  async function look() {
    const mine = ++asked;
    try {
      const answer = await desk.send(form.action + "/differences", new URLSearchParams(new FormData(form)));
      const text = answer.ok ? await answer.text() : "";
      if (mine === asked) place.innerHTML = text;
    } catch (failure) {
      if (mine === asked) place.textContent = "";
    }
  }
  form.addEventListener("change", function () {
    clearTimeout(waiting);
    waiting = setTimeout(look, 250);
  });
})();
