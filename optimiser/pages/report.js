// The page tells everything without this: it sorts the ranking, and opens what is folded where that is needed.
"use strict";

// What is folded is opened for paper, and folded again after.
let opened = [];
addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details.long:not([open])")];
  for (const each of opened) each.open = true;
});
addEventListener("afterprint", () => {
  for (const each of opened) each.open = false;
});

// On a phone the best candidates come before every limit has been read.
if (matchMedia("(max-width: 40rem)").matches)
  for (const each of document.querySelectorAll("details.asks")) each.open = false;

// A link to a folded candidate opens it.
function unfold() {
  const there = location.hash && document.getElementById(location.hash.slice(1));
  if (there instanceof HTMLDetailsElement) there.open = true;
}
addEventListener("hashchange", unfold);
unfold();

// Heads of the ranking become buttons that sort it; what has no figure comes last both ways.
for (const table of document.querySelectorAll("table.sortable")) {
  const heads = [...table.tHead.rows[0].cells];
  const body = table.tBodies[0];
  heads.forEach((head, column) => {
    if (head.hasAttribute("data-words")) return;
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", () => {
      const down = head.getAttribute("aria-sort") === "ascending";
      for (const each of heads) each.removeAttribute("aria-sort");
      head.setAttribute("aria-sort", down ? "descending" : "ascending");
      const value = (row) => row.cells[column].dataset.value;
      const rows = [...body.rows].sort((a, b) => {
        const [x, y] = [value(a), value(b)];
        if (x === "" || y === "") return (x === "") - (y === "");
        return down ? y - x : x - y;
      });
      body.append(...rows);
    });
  });
}
