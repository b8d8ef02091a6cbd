// Chooses which day of the page is shown, by this telephone's date. It works out no drops, asks nobody, keeps nothing.
(function () {
  "use strict";
  var today = document.getElementById("today"), tomorrow = document.getElementById("tomorrow");
  var lists = Array.prototype.slice.call(document.querySelectorAll("#days [data-days]"));
  var visits = Array.prototype.slice.call(document.querySelectorAll("[data-visit]"));
  if (!today || !lists.length) return;
  var days = Array.prototype.slice.call(document.querySelectorAll("[data-day]"));
  days.sort(function (one, other) { return one.dataset.day < other.dataset.day ? -1 : 1; });
  var shown = "";

  function iso(at) {
    function two(number) { return (number < 10 ? "0" : "") + number; }
    return at.getFullYear() + "-" + two(at.getMonth() + 1) + "-" + two(at.getDate());
  }
  function minutes(text) { return 60 * Number(text.slice(0, 2)) + Number(text.slice(3, 5)); }
  function find(date) {
    return days.filter(function (day) { return day.dataset.day === date; })[0];
  }
  function tell(word) {
    today.querySelectorAll("[data-told]").forEach(function (one) { one.hidden = one.dataset.told !== word; });
  }
  function place(now) {
    var date = iso(now), next = iso(new Date(now.getFullYear(), now.getMonth(), now.getDate() + 1));
    if (date === shown) return;
    shown = date;
    days.forEach(function (day) { day.open = false; home(day).append(day); });
    [[today, date], [tomorrow, next]].forEach(function (pair) {
      var day = find(pair[1]), into = pair[0].querySelector(".place");
      if (day) { day.open = pair[0] === today; into.append(day); }
      pair[0].hidden = pair[0] === tomorrow && !day;
    });
    lists.forEach(function (list) {
      list.parentNode.open = false;
      list.parentNode.hidden = !list.children.length;
    });
    come(date);
  }
  function home(day) {
    return lists.filter(function (list) { return list.dataset.days.indexOf(day.dataset.day) >= 0; })[0];
  }
  // The next visit: the first that is not past, nor over although it is today; the program has the same rule.
  function come(date) {
    var next = "";
    visits.forEach(function (one) {
      var day = one.dataset.visit, ahead = day > date || (day === date && !("over" in one.dataset));
      if (ahead && (!next || day < next)) next = day;
    });
    visits.forEach(function (one) { one.querySelector("[data-coming]").hidden = one.dataset.visit !== next; });
    document.querySelectorAll("[data-next]").forEach(function (one) { if (next) one.hidden = one.dataset.next !== next; });
  }
  function mark(now) {
    var day = find(iso(now)), minute = 60 * now.getHours() + now.getMinutes(), due = null, next = null;
    var rounds = day ? Array.prototype.slice.call(day.querySelectorAll("[data-at]")) : [];
    rounds.forEach(function (round) {
      var past = minute - minutes(round.dataset.at);
      if (past >= -Number(today.dataset.early) && past < Number(today.dataset.late)) due = round;
    });
    rounds.forEach(function (round) {
      if (!next && round !== due && minutes(round.dataset.at) > minute) next = round;
    });
    document.querySelectorAll("[data-sign]").forEach(function (sign) {
      sign.hidden = sign.closest("[data-at]") !== (sign.dataset.sign === "now" ? due : next);
    });
    say(due, next);
    if (day) tell(rounds.length && !due && !next ? "over" : "");
    else if (today.dataset.first && iso(now) < today.dataset.first) tell("not-begun");
    else tell(today.dataset.last && iso(now) > today.dataset.last ? "ended" : "none");
  }
  function say(due, next) {
    var round = due || next, line = today.querySelector(".soon");
    line.hidden = !round;
    if (!round) return;
    line.querySelector("[data-word=now]").hidden = !due;
    line.querySelector("[data-word=next]").hidden = !!due;
    line.querySelector(".copy").replaceChildren(round.querySelector(".when").cloneNode(true));
    line.querySelector(".drops").replaceWith(round.querySelector(".drops").cloneNode(true));
  }
  function choose() {
    var now = new Date();
    place(now);
    mark(now);
  }
  today.querySelector(".byclock").hidden = false;
  document.querySelector("[data-heading=other]").hidden = false;
  document.querySelector("[data-heading=all]").hidden = true;
  choose();
  setInterval(choose, 30000);
  document.addEventListener("visibilitychange", choose);
})();
