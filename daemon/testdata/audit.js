// What a page must be for everyone beside what axe-core asks (WCAG 2.2: 1.1.1, 1.4.3 and 1.4.11 in drawings
// and at the edges of controls, 2.4.3, 2.4.7): gives a list of what is wrong, in words. Keys of 48 px, text beside
// charts, one filled button a screen and figures that stay with their units are the house's own.
(() => {
  const wrong = [], say = (what, el) => wrong.push(what + (el ? ": " + (el.outerHTML || el.textContent || "").replace(/\s+/g, " ").slice(0, 140) : ""));
  const shown = el => el.checkVisibility({visibilityProperty: true}) && el.getClientRects().length > 0;

  const ids = [...document.querySelectorAll("[id]")].map(e => e.id);
  ids.filter((id, i) => ids.indexOf(id) !== i).forEach(id => say("id given twice " + id));
  if (document.querySelector("[style],style,script:not([src])")) say("inline style or script", document.querySelector("[style],style,script:not([src])"));
  for (const e of document.querySelectorAll("[src],link[href]")) if (new URL(e.src || e.href).origin !== location.origin) say("an asset from elsewhere", e);
  // What can be pressed or filled in: its size, its order, its focus.
  const controls = [...document.querySelectorAll("a[href],button,input:not([type=hidden]),select,textarea,summary,[tabindex]")].filter(shown);
  if (!controls[0] || !controls[0].matches(".skip")) say("the first stop is not the skip link", controls[0]);
  for (const e of controls) {
    const target = e.matches("[type=radio],[type=checkbox]") && e.labels && e.labels[0] ? e.labels[0] : e;
    const r = target.getBoundingClientRect();
    const inText = e.matches("a:not(.key,.btn,.chip,.link,nav a,.home), .skip") || e.closest("svg") || e.matches("[tabindex]:not(button):not(a):not(input)");
    if (!inText && (r.height < 47.5 || r.width < 43.5)) say("a target of " + Math.round(r.width) + " by " + Math.round(r.height), e);
  }
  const before = document.activeElement;
  for (const e of controls.slice(0, 40)) {
    e.focus({preventScroll: true});
    const s = getComputedStyle(e);
    if (document.activeElement === e && e.matches(":focus-visible") && (s.outlineStyle === "none" || parseFloat(s.outlineWidth) < 2)) say("focus is not seen", e);
  }
  if (before && before.focus) before.focus({preventScroll: true});
  scrollTo(0, 0);
  const filled = [...document.querySelectorAll(".btn.go,button.go,.key.go")].filter(shown).map(e => ({e, r: e.getBoundingClientRect()}));
  filled.forEach((a, i) => filled.slice(i + 1).forEach(b => {
    if (Math.max(a.r.bottom, b.r.bottom) - Math.min(a.r.top, b.r.top) < innerHeight - 60) say("two filled buttons on a screen: " + a.e.textContent.trim() + ", " + b.e.textContent.trim());
  }));
  // Charts.
  for (const g of document.querySelectorAll("main svg")) {
    if (g.getAttribute("aria-hidden") === "true") continue;
    if (g.matches(".true,.picture") && g.getAttribute("aria-label")) continue; // a tool to print to scale, a picture that its label tells whole
    if (g.getAttribute("role") !== "img" || !(g.getAttribute("aria-label") || g.querySelector("title"))) say("a chart without a name", g);
    if (g.closest("[data-drawn]")) continue; // a card says it in figures and in a sentence; its kiln's page has the table
    let told = false; // beside it, before the next heading
    for (let e = g; e && e.tagName !== "MAIN" && !told; e = e.parentElement)
      for (let n = e; n && !(n !== e && /^H[1-6]$/.test(n.tagName)) && !told; n = n.nextElementSibling) told = n.matches("table,.written,figcaption") || !!n.querySelector("table,.written,figcaption");
    if (!told) say("a chart without the same in text", g);
  }
  // Contrast of words in drawings and of edges, worked out as WCAG 2.2 defines it.
  const colour = c => { const m = (c || "").match(/[\d.]+/g); return m ? m.map(Number) : [0, 0, 0, 0]; };
  const over = (a, b) => { const k = a[3] === undefined ? 1 : a[3]; return [0, 1, 2].map(i => a[i] * k + b[i] * (1 - k)); };
  const behind = el => {
    const stack = [];
    for (let e = el; e; e = e.parentElement) { const c = colour(getComputedStyle(e).backgroundColor); if (c[3] !== 0) { stack.push(c); if (c[3] === undefined || c[3] === 1) break; } }
    return stack.reverse().reduce((b, c) => over(c, b), [255, 255, 255]);
  };
  const light = c => { const [r, g, b] = c.map(v => { v /= 255; return v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4; }); return .2126 * r + .7152 * g + .0722 * b; };
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + .05) / (y + .05); };
  const said = new Set(), once = (key, ...told) => { if (!said.has(key)) { said.add(key); say(...told); } };
  for (const e of document.querySelectorAll("svg text")) {
    if (!shown(e)) continue;
    const fill = getComputedStyle(e).fill, bg = behind(e), r = ratio(over(colour(fill), bg), bg);
    if (r < 4.5) once(fill + bg, "contrast " + r.toFixed(2) + " of 4.5", e);
  }
  for (const e of document.querySelectorAll("input:not([type=hidden]):not([type=radio]):not([type=checkbox]),select,textarea,button,.key")) {
    if (!shown(e)) continue;
    const s = getComputedStyle(e), around = behind(e.parentElement), edge = Math.max(ratio(over(colour(s.borderTopColor), around), around), ratio(behind(e), around));
    if (edge < 3) once("edge" + s.borderTopColor + around, "the edge of a control has contrast " + edge.toFixed(2) + " of 3", e);
  }
  // A figure stays on a line with its unit: no space that breaks between them, nor between two elements.
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), apart = /(?:\d (?:°[CF]|mm|cm|kg|g|ml|%|s|min|h)|(?:\.\d+|,\d+|\/\d+) in)(?![\p{L}\d])/u;
  let last = null;
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    const e = n.parentElement;
    if (e.closest("script,pre,code,option,svg,[translate=no]") || !shown(e)) continue;
    const text = n.textContent.replace(/[ \n\t]+/g, " "), before = last && !/[ ]$/.test(last) && /^ /.test(text) ? last.slice(-12) : "";
    const found = (before + text).match(apart), holds = found && found.index < before.length ? e.parentElement : e;
    if (found && getComputedStyle(holds).textWrapMode !== "nowrap") say("a figure can be parted from its unit: " + (before + text).slice(Math.max(0, found.index - 30), found.index + 20));
    last = text;
  }
  return wrong;
})()
