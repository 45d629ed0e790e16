// What a page must be for everyone, looked at in the browser as it is shown now. Gives a list
// of what is wrong, in words. WCAG 2.2: 1.1.1, 1.3.1, 1.4.3, 1.4.10, 1.4.11, 2.4.1, 2.4.2,
// 2.4.3, 2.4.7, 2.5.8, 3.1.1, 4.1.2; 48 px keys and text behind charts are the house's own.
(() => {
  const wrong = [], say = (what, el) => wrong.push(what + (el ? ": " + (el.outerHTML || el.textContent || "").replace(/\s+/g, " ").slice(0, 140) : ""));
  const shown = el => el.checkVisibility({visibilityProperty: true}) && el.getClientRects().length > 0;
  const words = el => (el.innerText || el.textContent || "").trim();

  // The document.
  if (!document.documentElement.lang) say("no language");
  if (!document.title.trim()) say("no title");
  if (document.querySelectorAll("main").length !== 1) say("not one main");
  const heads = [...document.querySelectorAll("h1,h2,h3,h4,h5,h6")].filter(shown);
  if (heads.filter(h => h.tagName === "H1").length !== 1) say("not one h1 but " + heads.filter(h => h.tagName === "H1").length);
  let level = 0;
  for (const h of heads) {
    const n = +h.tagName[1];
    if (n > level + 1) say("a heading skips a level", h);
    if (!words(h)) say("an empty heading", h);
    level = n;
  }
  const ids = [...document.querySelectorAll("[id]")].map(e => e.id);
  ids.filter((id, i) => ids.indexOf(id) !== i).forEach(id => say("id given twice " + id));
  if (document.querySelector("[style],style,script:not([src])")) say("inline style or script", document.querySelector("[style],style,script:not([src])"));
  for (const e of document.querySelectorAll("[src],link[href]")) if (new URL(e.src || e.href).origin !== location.origin) say("an asset from elsewhere", e);
  if (document.documentElement.scrollWidth > innerWidth + 1) {
    const wide = [...document.querySelectorAll("main *")].filter(e => shown(e) && e.getBoundingClientRect().right > innerWidth + 1 && !e.closest(".scroll"));
    say("wider than the screen by " + (document.documentElement.scrollWidth - innerWidth), wide.pop());
  }
  // Names, targets, order and focus of what can be pressed or filled in.
  const controls = [...document.querySelectorAll("a[href],button,input:not([type=hidden]),select,textarea,summary,[tabindex]")].filter(shown);
  if (!controls[0] || !controls[0].matches(".skip")) say("the first stop is not the skip link", controls[0]);
  for (const e of controls) {
    const by = (e.getAttribute("aria-labelledby") || "").split(" ").map(id => document.getElementById(id)).filter(Boolean).map(words).join(" ");
    const name = e.getAttribute("aria-label") || by || [...(e.labels || [])].map(words).join(" ") || (e.matches("a,button,summary,[tabindex]") ? words(e) || (e.querySelector("title,img") ? "picture" : "") : "");
    if (!name.trim()) say("no name", e);
    if (e.tabIndex > 0) say("an order of its own", e);
    const target = e.matches("[type=radio],[type=checkbox]") && e.labels && e.labels[0] ? e.labels[0] : e;
    const r = target.getBoundingClientRect();
    const inText = e.matches("a:not(.key):not(nav a):not(.home), .skip") || e.closest("svg") || e.matches("[tabindex]:not(button):not(a):not(input)");
    const least = e.matches("button,.key,input,select,textarea") ? 48 : 44;
    if (!inText && (r.height < least - .5 || r.width < 44 - .5)) say("a target of " + Math.round(r.width) + " by " + Math.round(r.height), e);
  }
  const before = document.activeElement;
  for (const e of controls.slice(0, 40)) {
    e.focus({preventScroll: true});
    const s = getComputedStyle(e);
    if (document.activeElement === e && e.matches(":focus-visible") && (s.outlineStyle === "none" || parseFloat(s.outlineWidth) < 2)) say("focus is not seen", e);
  }
  if (before && before.focus) before.focus({preventScroll: true});
  scrollTo(0, 0);
  // Tables, pictures, charts.
  for (const t of document.querySelectorAll("table")) {
    if (!t.querySelector("th")) say("a table without headers", t);
    for (const th of t.querySelectorAll("th")) if (!th.textContent.trim()) say("an empty header", th);
  }
  for (const i of document.querySelectorAll("img")) if (!i.hasAttribute("alt")) say("a picture without words", i);
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
  // Contrast, worked out as WCAG 2.2 defines it.
  const colour = c => { const m = (c || "").match(/[\d.]+/g); return m ? m.map(Number) : [0, 0, 0, 0]; };
  const over = (a, b) => { const k = a[3] === undefined ? 1 : a[3]; return [0, 1, 2].map(i => a[i] * k + b[i] * (1 - k)); };
  const behind = el => {
    const stack = [];
    for (let e = el; e; e = e.parentElement) { const c = colour(getComputedStyle(e).backgroundColor); if (c[3] !== 0) { stack.push(c); if (c[3] === undefined || c[3] === 1) break; } }
    return stack.reverse().reduce((b, c) => over(c, b), [255, 255, 255]);
  };
  const light = c => { const [r, g, b] = c.map(v => { v /= 255; return v <= .04045 ? v / 12.92 : ((v + .055) / 1.055) ** 2.4; }); return .2126 * r + .7152 * g + .0722 * b; };
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + .05) / (y + .05); };
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), said = new Set();
  for (let n = walk.nextNode(); n; n = walk.nextNode()) {
    const e = n.parentElement;
    if (!n.textContent.trim() || !shown(e) || e.closest("script,title,.skip,option,:disabled")) continue;
    const s = getComputedStyle(e), size = parseFloat(s.fontSize), need = size >= 24 || size >= 18.66 && +s.fontWeight >= 700 ? 3 : 4.5;
    const bg = behind(e), fg = over(colour(e.closest("svg") ? s.fill : s.color), bg), r = ratio(fg, bg);
    const key = s.color + bg + need;
    if (r < need && !said.has(key)) { said.add(key); say("contrast " + r.toFixed(2) + " of " + need, e); }
  }
  for (const e of document.querySelectorAll("input:not([type=hidden]):not([type=radio]):not([type=checkbox]),select,textarea,button,.key")) {
    if (!shown(e)) continue;
    const s = getComputedStyle(e), around = behind(e.parentElement), edge = Math.max(ratio(over(colour(s.borderTopColor), around), around), ratio(behind(e), around));
    if (edge < 3 && !said.has("edge" + s.borderTopColor + around)) { said.add("edge" + s.borderTopColor + around); say("the edge of a control has contrast " + edge.toFixed(2) + " of 3", e); }
  }
  return wrong;
})()
