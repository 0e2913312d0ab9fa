"use strict";
// The search box of the glossary. What words mean comes from the page itself, written from the same
// tables as the search of the library; nothing is loaded, and without scripts the page is whole.
(() => {
  const same = JSON.parse(document.getElementById("same").textContent);
  const box = document.getElementById("find");
  const told = document.getElementById("found");
  const fillers = new Set(same.fillers);
  const rows = [...document.querySelectorAll("tr[data-names]")].map((row) => ({
    row,
    names: row.dataset.names.split(" "),
    all: `${row.dataset.names} ${row.dataset.aside}`.split(" "),
  }));
  const known = new Set([
    ...rows.flatMap((r) => r.all),
    ...Object.keys(same.related),
    ...Object.keys(same.in_full),
    ...same.together.flatMap(([group]) => group.split(" ")),
    ...fillers,
  ]);
  const spellings = same.spellings.map(([pattern, to]) => [new RegExp(pattern), to]);

  const split = (text) => text.toLowerCase().split(/[^\p{L}\p{N}]+/u).filter(Boolean);
  const oneSpelling = (word) =>
    word.length <= 3 ? word : spellings.reduce((w, [pattern, to]) => w.replace(pattern, to), word);

  function meant(words) {
    let text = ` ${words.join(" ")} `;
    for (const [group, instead] of same.together) text = text.replaceAll(` ${group} `, ` ${instead} `);
    const full = text.split(" ").map((word) => same.in_full[word] ?? word);
    return full.join(" ").split(" ").filter((word) => word && !fillers.has(word));
  }

  // Edits that make one word of the other; two neighbours changed about count as one.
  function edits(a, b) {
    const d = Array.from({ length: a.length + 1 }, (_, i) => [i]);
    for (let j = 1; j <= b.length; j++) d[0][j] = j;
    for (let i = 1; i <= a.length; i++) {
      for (let j = 1; j <= b.length; j++) {
        const cost = a[i - 1] === b[j - 1] ? 0 : 1;
        d[i][j] = Math.min(d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + cost);
        const turned = i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1];
        if (turned) d[i][j] = Math.min(d[i][j], d[i - 2][j - 2] + 1);
      }
    }
    return d[a.length][b.length];
  }

  // A word that nobody knows is read as two written as one, as the start of one, or as mistyped.
  function corrected(word) {
    if (word.length < 4 || known.has(word)) return word;
    for (let cut = 3; cut <= word.length - 3; cut++) {
      const two = [word.slice(0, cut), word.slice(cut)];
      if (two.every((part) => known.has(part))) return two.join(" ");
    }
    const all = [...known];
    const begun = Object.keys(same.in_full).find((k) => k.startsWith(word));
    if (begun || all.some((k) => k.startsWith(word))) return begun ?? word;
    const near = all
      .filter((k) => Math.abs(k.length - word.length) <= 2)
      .map((k) => [edits(word, k), k])
      .sort((a, b) => a[0] - b[0])[0];
    return near && near[0] <= (word.length < 6 ? 1 : 2) ? near[1] : word;
  }

  const holds = (words, asked) =>
    asked.every((word) =>
      words.some((w) => w.startsWith(word) || (same.related[word] ?? []).includes(w)));

  // Names first; formulas and meanings only when no name holds all words.
  function hits(text) {
    const asked = meant(split(text).map(oneSpelling).map(corrected));
    if (!asked.length) return split(text).length ? [] : rows;
    const named = rows.filter((r) => holds(r.names, asked));
    return named.length ? named : rows.filter((r) => holds(r.all, asked));
  }

  function tell(count) {
    const text = count ? box.dataset.some : box.dataset.none;
    told.textContent = text.replace("{count}", count).replace("{total}", rows.length);
  }

  let waiting = 0;
  function filter() {
    const shown = new Set(hits(box.value).map((r) => r.row));
    for (const { row } of rows) row.hidden = !shown.has(row);
    for (const part of document.querySelectorAll("section[data-part]")) {
      part.hidden = !part.querySelector("tr[data-names]:not([hidden])");
    }
    clearTimeout(waiting); // said once after a pause, not at every letter
    waiting = setTimeout(tell, 250, shown.size);
  }

  box.form.hidden = false;
  box.form.addEventListener("submit", (event) => event.preventDefault());
  box.addEventListener("input", filter);
  box.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    box.value = "";
    filter();
  });
  if (box.value) filter(); // a browser that comes back to the page keeps what was typed
})();
