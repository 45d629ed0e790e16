// What does not fit at the width at which a page is shown now (WCAG 2.2: 1.4.4, 1.4.10, 2.1.1), in words.
(() => {
  const wrong = [], what = e => (e.outerHTML || "").replace(/\s+/g, " ").slice(0, 110);
  const shown = e => e.checkVisibility({visibilityProperty: true}) && e.getClientRects().length > 0;
  const root = document.documentElement, all = [...document.querySelectorAll("body *")].filter(e => !e.closest("svg *,.skip,.scroll *,option") && shown(e));
  if (root.scrollWidth > innerWidth) {
    const wide = all.filter(e => e.getBoundingClientRect().right > innerWidth + .5);
    wrong.push("wider than the screen by " + (root.scrollWidth - innerWidth) + ": " + wide.slice(-2).map(what).join(" in "));
  }
  const out = new Set(); // what is inside what leaves is told with it
  for (const e of all) {
    if (out.has(e.parentElement)) { out.add(e); continue; }
    const card = e.parentElement.closest(".card,.tile,.wrong,.waits,fieldset,button,.btn,.chip,.key,td,th");
    if (!card || e.matches("[type=radio],[type=checkbox]")) continue;
    const c = card.getBoundingClientRect(), r = e.getBoundingClientRect();
    if (r.width && (r.right > c.right + 1 || r.left < c.left - 1 || r.bottom > c.bottom + 1)) out.add(e) && wrong.push("leaves its card by " + [r.right - c.right, c.left - r.left, r.bottom - c.bottom].map(Math.round) + ": " + what(e) + " in " + what(card).slice(0, 50));
  }
  for (const e of all) {
    const s = getComputedStyle(e);
    if (e.scrollWidth <= e.clientWidth + 1 || s.display === "inline" || e.matches("input,select,.true-size")) continue;
    if (s.overflowX === "hidden" || s.overflowX === "clip") wrong.push("cut: " + what(e));
    if (s.overflowX === "auto" && !(e.tabIndex === 0 && e.getAttribute("role") === "region" && (e.getAttribute("aria-label") || e.getAttribute("aria-labelledby")))) wrong.push("scrolls, and not by keyboard: " + what(e));
  }
  // Words in drawings: within them, none over another, no upright line of a curve through one. The box of a line of
  // text is higher than its letters.
  for (const svg of document.querySelectorAll("main svg")) {
    if (!shown(svg)) continue;
    const frame = svg.getBoundingClientRect();
    const words = [...svg.querySelectorAll("text")].filter(e => e.textContent.trim() && shown(e)).map(e => { const r = e.getBoundingClientRect(), h = r.height * .2; return {say: e.textContent, left: r.left, right: r.right, top: r.top + h, bottom: r.bottom - h}; });
    words.forEach((a, i) => {
      if (a.left < frame.left - 1 || a.right > frame.right + 1) wrong.push("a word cut by its drawing: " + a.say);
      words.slice(i + 1).forEach(b => { if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1) wrong.push("a word over another: " + a.say + ", " + b.say); });
    });
    const plates = [...svg.querySelectorAll(".plate")].map(e => e.getBoundingClientRect());
    for (const line of svg.querySelectorAll(".cursor,.day,.gap")) {
      const r = line.getBoundingClientRect(), x = (r.left + r.right) / 2;
      if (shown(line) && r.width < 4) words.filter(a => !plates.some(p => p.left <= a.left + 1 && p.right >= a.right - 1 && p.top <= a.top && p.bottom >= a.bottom)).forEach(a => { if (x > a.left + 1 && x < a.right - 1 && r.top < a.bottom && r.bottom > a.top) wrong.push("a line through a word: " + a.say); });
    }
  }
  return wrong;
})()
