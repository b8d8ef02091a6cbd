/* Arrow keys turn the screens of the talk. */
"use strict";
(function () {
  const slide = document.querySelector(".slide");
  if (!slide) return;
  /* What was typed or touched and not kept is not left behind by a key. */
  const typed = () => [...document.querySelectorAll(".counsellor textarea, .counsellor input")].some((one) => one.value !== one.defaultValue || one.checked !== one.defaultChecked);
  /* A question that stands typed is kept first, whichever form turns the screen. */
  const question = document.getElementById("asked");
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!question || form === question || !question.elements.question.value.trim()) return;
    event.preventDefault();
    try {
      const answer = await desk.send(question.action, new FormData(question));
      if (!answer.ok) return;
    } catch { return; }
    question.reset();
    form.requestSubmit(event.submitter);
  });
  document.addEventListener("keydown", (event) => {
    if (event.target.closest("input, textarea, select, summary") || event.altKey || event.ctrlKey || event.metaKey) return;
    const forward = document.documentElement.dir === "rtl" ? "ArrowLeft" : "ArrowRight";
    const backward = document.documentElement.dir === "rtl" ? "ArrowRight" : "ArrowLeft";
    const to = event.key === forward || event.key === "PageDown" ? slide.dataset.next : event.key === backward || event.key === "PageUp" ? slide.dataset.back : "";
    if (to && !typed()) location.href = to;
  });
})();
