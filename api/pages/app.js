// lidwright: live figures, a read-out on curves, keys for wet thumbs, and a queue for readings
// while the network is away. Every page is read without it.
"use strict";
(() => {
  const $ = (s, e = document) => e.querySelector(s), $$ = (s, e = document) => [...e.querySelectorAll(s)];
  // Words in the language of the page; what it has not is said in English.
  const words = JSON.parse(document.documentElement.dataset.words || "{}");
  // A figure stays on a line with its unit, here as on what the server writes.
  const together = text => text.replace(/(\d) (?=(?:°[CF]|mm|cm|in|kg|g|ml|l|%|s|min|h)(?![\p{L}\d]))/gu, "$1\u00a0");
  const say = (text, ...fill) => together((words[text] || text).replace(/\{(\d)\}/g, (_, n) => fill[n - 1]));
  const make = (tag, props = {}, ...inside) => { const e = Object.assign(document.createElement(tag), props); e.append(...inside); return e; };

  // Temperatures in the reader's degrees; the stream tells °C.
  const degree = document.documentElement.dataset.degree || "°C", wide = degree === "°F" ? 1.8 : 1;
  const heat = c => Math.round(c * wide + (wide > 1 ? 32 : 0));

  // What the kilns do, as it happens. A reading that grew old is struck through. Where the stream has broken off
  // for ten seconds the figure is greyed and says how old it is: its age is counted here.
  const tiles = $$("[data-kiln]");
  const put = (tile, what, text) => $$(`[data-live=${what}]`, tile).forEach(e => { if (e.textContent !== together(text)) e.textContent = together(text); });
  const figure = (tile, value, fresh) => $$("[data-live=temperature]", tile).forEach(e => {
    if (value === null) return;
    e.replaceChildren(fresh ? heat(value) : make("span", {className: "struck", textContent: heat(value)}), make("small", {textContent: degree + (fresh ? "" : say(", not heard now"))}));
  });
  const heard = new Map();
  const tell = k => tiles.filter(t => t.dataset.kiln === k.kiln).forEach(t => {
    figure(t, k.fresh ? k.temperature_c : k.last_temperature_c, k.fresh);
    const other = (shown, now) => shown !== undefined && shown !== String(now);
    const {state, hot, over, still} = t.dataset; // other cautions belong to others of them
    if (other(state, k.state) || other(hot, k.hot) || other(over, k.over_limit) || other(still, k.still_hot)) { location.reload(); return; }
    put(t, "state", say(k.state.replaceAll("_", " ")));
    put(t, "rate", k.rate_c_per_h === null ? "–" : (k.rate_c_per_h > 0 ? "+" : "") + Math.round(k.rate_c_per_h * wide) + " " + degree + "/h");
    if (k.hours !== null) put(t, "hours", k.hours.toLocaleString(document.documentElement.lang, {minimumFractionDigits: 1, maximumFractionDigits: 1}) + " h");
    if (k.peak_c !== null) put(t, "peak", heat(k.peak_c) + " " + degree);
    heard.set(t, {at: performance.now() - 1000 * (k.read_age_s ?? 0), known: k.read_age_s !== null, waits: k.waits, last: k.last_temperature_c});
  });
  if (tiles.length && window.EventSource) {
    const stream = new EventSource("/v1/stream?kinds=now");
    stream.addEventListener("now", e => tell(JSON.parse(e.data)));
    addEventListener("pagehide", () => stream.close());
    // While a kiln is read the stream says something every few seconds; a connection that hangs says nothing.
    let lost = 0, beat = performance.now();
    ["now", "open"].forEach(kind => stream.addEventListener(kind, () => { beat = performance.now(); }));
    setInterval(() => {
      const gone = stream.readyState !== EventSource.OPEN;
      lost = gone ? lost || performance.now() : 0;
      const cut = gone && performance.now() - lost > 5000 || [...heard.values()].some(h => h.known) && performance.now() - beat > 8000;
      document.body.classList.toggle("cut-off", cut);
      heard.forEach((h, t) => {
        const age = Math.round((performance.now() - h.at) / 1000);
        put(t, "age", h.known ? say("{1} s ago", age) : say(h.waits));
        $$("[data-live=temperature]", t).forEach(e => {
          let told = $(".lost", e);
          if (!cut) { told?.remove(); return; }
          if (!told) e.append(told = make("small", {className: "lost"}));
          told.textContent = " " + say("connection lost, {1} s old", age);
        });
        if (cut && age > 30) put(t, "state", say("not heard: is this machine in the network?"));
      });
    }, 1000);
    // What the server alone draws or says in the language of the page (curves, forecasts, cones) comes anew each
    // minute, where nobody reads or points at it.
    const parts = (name, page) => [...page.querySelectorAll("[data-grows]")].filter(e => e.dataset.grows === name);
    const grow = async () => {
      if (document.hidden || document.body.classList.contains("cut-off")) return;
      const r = await fetch(location.href, {headers: {Accept: "text/html"}}).catch(() => null);
      const page = r && r.ok && new DOMParser().parseFromString(await r.text(), "text/html");
      if (page) $$("[data-grows]").forEach(old => {
        const [now] = parts(old.dataset.grows, page);
        if (!now || old.matches(":hover, :focus-within") || $("details[open]", old) || now.innerHTML === old.innerHTML) return;
        old.replaceWith(document.adoptNode(now));
        if (now.id === "curve") curve(now);
      });
    };
    if ($("[data-grows]")) setInterval(grow, 60000);
  }

  // Readings that wait for the network. Each has the id that its form was given, so that sending
  // it twice keeps it once. They outlast a reload; none is ever thrown away unasked.
  const shelf = "lidwright.waiting";
  const all = () => { try { return JSON.parse(localStorage.getItem(shelf)) || []; } catch { return []; } };
  const keep = list => { try { localStorage.setItem(shelf, JSON.stringify(list)); return true; } catch { return false; } };
  const change = (id, f) => { const list = all(), at = list.findIndex(e => e.id === id); if (at >= 0) { f(list[at], list, at); keep(list); } show(); };
  // An id with the time in front and chance behind (UUIDv7, RFC 9562), for where the server gave none.
  const newID = () => {
    const b = crypto.getRandomValues(new Uint8Array(16)), t = Date.now();
    for (let i = 0; i < 6; i++) b[i] = Math.floor(t / 2 ** (8 * (5 - i))) % 256;
    b[6] = b[6] & 15 | 112; b[8] = b[8] & 63 | 128;
    return [...b].map(x => x.toString(16).padStart(2, "0")).join("").replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  };
  const bowl = $("[data-bowl]"), form = bowl && $("[data-measure]", bowl), outcomes = new Map(); // of entries: kept, asked, refused, away
  const here = e => !!form && $$(".chip[data-bar]", bowl).some(c => c.dataset.bar === e.bar); // asked about beside the pad
  const told = (id, how) => { const done = outcomes.get(id); outcomes.delete(id); if (done) done(how); else dispatchEvent(new CustomEvent("told", {detail: how})); };
  const strip = make("section", {className: "waiting", hidden: true, ariaLabel: say("Readings that wait")});
  strip.setAttribute("aria-live", "polite");
  const what = e => e.bar + " " + e.body.stage + " " + e.body.length + " " + (e.body.unit || "");
  const show = () => {
    const list = all(), waits = list.filter(e => !e.refused && !e.asked), refused = list.filter(e => e.refused && !here(e)), asked = list.filter(e => e.asked && !here(e));
    strip.hidden = !(waits.length + refused.length + asked.length);
    const said = [];
    if (waits.length) said.push(make("p", {}, make("strong", {textContent: say("{1} waiting", waits.length)}), " – " + say("keep this page open"), waits[0].why ? ". " + waits[0].why : ""));
    if (waits.some(e => e.code)) said.push(make("p", {}, make("a", {className: "key", href: "/session", textContent: say("Show the code")})));
    if (asked.length) {
      const l = make("ul");
      asked.forEach(e => {
        const sure = make("button", {type: "button", textContent: say("Keep {1} as I read it", e.body.length)}), again = make("button", {type: "button", textContent: say("Throw it away")});
        sure.addEventListener("click", () => { change(e.id, x => { x.sure = true; delete x.asked; }); send(); });
        again.addEventListener("click", () => change(e.id, (_, list, at) => list.splice(at, 1)));
        l.append(make("li", {}, what(e) + ": " + e.asked + " ", make("a", {className: "key", href: "/bar/" + encodeURIComponent(e.bar), textContent: say("Look at {1}", e.bar)}), " ", sure, " ", again));
      });
      said.push(make("h2", {textContent: say("Asked about: nothing of these is kept yet")}), l);
    }
    if (refused.length) {
      const l = make("ul");
      refused.forEach(e => {
        const away = make("button", {type: "button", textContent: say("Done with it")});
        away.addEventListener("click", () => change(e.id, (_, list, at) => list.splice(at, 1)));
        l.append(make("li", {}, what(e) + ": " + e.refused + " ", make("a", {className: "key", href: "/bar/" + encodeURIComponent(e.bar), textContent: say("Look at {1}", e.bar)}), " ", away));
      });
      said.push(make("h2", {textContent: say("Look at these: not kept")}), l);
    }
    strip.replaceChildren(...said);
  };
  const steps = [1, 2, 5, 10, 30];
  let tries = 0, timer = 0, busy = false, began = performance.now();
  const send = async () => {
    clearTimeout(timer);
    if (busy) return;
    busy = true;
    const now = performance.now(), gone = (now - began) / 1000; // our own count of the wait: no clock of a phone is trusted
    began = now;
    keep(all().map(e => ({...e, waited: (e.waited || 0) + (e.fresh ? 0 : gone), fresh: false})));
    let failed = false;
    for (const e of all().filter(e => !e.refused && !e.asked)) {
      try {
        const r = await fetch("/v1/bars/" + encodeURIComponent(e.bar) + "/readings/" + e.id + (e.sure ? "" : "?ask=true"), {method: "PUT", headers: {"Content-Type": "application/json"}, body: JSON.stringify({...e.body, queued_s: Math.round(e.waited)})});
        if (r.ok) {
          const a = await r.json();
          if (a.not_kept) { change(e.id, x => { x.asked = a.question; x.fix = a.fix; }); told(e.id, "asked"); continue; } // asked about before it is kept
          change(e.id, (_, list, at) => list.splice(at, 1));
          told(e.id, "kept");
          continue;
        }
        const p = await r.json().catch(() => ({}));
        const says = (p.fields && p.fields.length ? p.fields.map(f => f.says).join("; ") : p.detail) || p.title || "HTTP " + r.status;
        if ([401, 403, 429].includes(r.status) || r.status >= 500) { failed = true; change(e.id, x => { x.why = says; x.code = r.status === 401 || r.status === 403; }); told(e.id, "away"); if (r.status !== 429) continue; break; }
        change(e.id, x => { x.refused = says; });
        told(e.id, "refused");
      } catch { failed = true; change(e.id, x => { x.why = say("This machine is not in the network."); }); all().forEach(x => told(x.id, "away")); break; }
    }
    busy = false;
    tries = failed ? tries + 1 : 0;
    if (all().some(e => !e.refused && !e.asked)) timer = setTimeout(send, 1000 * steps[Math.min(Math.max(tries - 1, 0), steps.length - 1)]);
  };
  const queue = (bar, id, body, sure) => {
    if (!keep([...all(), {bar, id: id || newID(), body, sure: !!sure, waited: 0, fresh: true}])) return false; // no room: the plain form goes out
    show(); send();
    return true;
  };
  if (form) $("[data-last]", bowl).after(strip); else if ($("main")) $("main").prepend(strip); // beside the pad nothing moves
  show(); send();
  addEventListener("online", () => { tries = 0; send(); });

  // Many bars, one after another, in any order: the pad stays open, each length goes to the queue, and the server
  // draws anew what stands around the pad. A question takes the place of the display, whichever bar is at hand.
  if (form) {
    const field = $("[name=length]", form), parts = $("[name=parts]", form), display = $(".display", form), question = $(".question", form);
    const back = new URL(bowl.dataset.bowl, location.href), later = new Map(); // what was typed for bars that were left
    let active = field, open = null, last = "", turn = 0;
    const chips = () => $$(".chip[data-bar]", bowl), chipOf = code => chips().find(c => c.dataset.bar === code);
    const hand = () => chips().find(c => c.getAttribute("aria-current")) || chips()[0];
    const typed = () => (field.value.trim() + (parts && parts.value.trim() ? " " + parts.value.trim() + "/32" : "")).trim();
    const fill = text => { const m = parts && text.match(/^(\d+) (\d+)\/32$/); field.value = m ? m[1] : text; if (parts) parts.value = m ? m[2] : ""; active = field; ring(); };
    const number = text => { const m = text.match(/^(\d+)(?: (\d+)\/32)?$/); return m ? +m[1] + (m[2] || 0) / 32 : +(/^\d+([.,]\d*)?$/.test(text) ? text.replace(",", ".") : NaN); };
    const believed = (chip, text) => {
      const mm = number(text) * ({cm: 10, in: 25.4, "32nds": 25.4}[$("[name=unit]", form).value] || 1), {low, high} = chip.dataset;
      return isNaN(mm) || !high || mm >= +low && mm <= +high; // what only the server can read is the server's to judge
    };
    const ring = () => $$("svg[data-strip]", bowl).forEach(svg => {
      const [left, right, from, to] = svg.dataset.strip.split(" ").map(Number), v = number(typed());
      const c = $(".typed", svg) || svg.appendChild(document.createElementNS("http://www.w3.org/2000/svg", "circle"));
      c.setAttribute("class", "hole p typed"); c.setAttribute("r", 6); c.setAttribute("cy", 40);
      c.setAttribute("visibility", v >= from && v <= to ? "visible" : "hidden");
      c.setAttribute("cx", v >= from && v <= to ? left + (v - from) / (to - from) * (right - left) : 0);
    });
    const mark = () => { // what waits in the queue is ticked too
      all().filter(e => !e.refused && !e.asked).map(e => chipOf(e.bar)).filter(c => c && !c.classList.contains("done")).forEach(c => { c.classList.add("done"); c.prepend(make("span", {textContent: "…", ariaHidden: "true"})); });
      const left = chips().filter(c => !c.classList.contains("done")).length, all_ = chips().length, waiting = all().filter(e => chipOf(e.bar) && !e.refused && !e.asked).length;
      $("[data-left]", bowl).textContent = left > 1 ? say("{1} of {2} left", left, all_) : left ? say("1 bar left") : waiting ? say("{1} waiting", waiting) : say("all measured");
      return left;
    };
    const refresh = async () => {
      const mine = ++turn, url = new URL(back);
      if (hand()) url.searchParams.set("bar", hand().dataset.bar);
      if (last) url.searchParams.set("saved", last);
      const r = await fetch(url, {headers: {Accept: "text/html"}}).catch(() => null);
      const page = r && r.ok && new DOMParser().parseFromString(await r.text(), "text/html");
      if (mine !== turn) return; // another bar is at hand by now
      $(".strip", bowl).classList.toggle("stale", !page);
      if (page) [".four", ".strip", "[data-last]", "[data-measured]"].forEach(p => $(p, page) && $(p, bowl).replaceWith($(p, page)));
      ring();
      if (!mark() && !open) over(all().some(e => chipOf(e.bar)));
    };
    const over = waits => {
      if (!waits) { location.replace(withSaved()); return; }
      form.hidden = true;
    };
    const withSaved = () => { const url = new URL(back); if (last) url.searchParams.set("saved", last); return url.href; };
    const choose = (code, text) => {
      const was = hand(), chip = chipOf(code);
      if (was && was !== chip && typed() && !open) later.set(was.dataset.bar, typed());
      chips().forEach(c => c === chip ? c.setAttribute("aria-current", "true") : c.removeAttribute("aria-current"));
      $$("[data-code]", form).forEach(e => { e.textContent = code; });
      $("[data-before-says]", form).textContent = chip.dataset.before;
      for (const name of ["supersedes", "revision"]) $("[name=" + name + "]", form).value = chip.dataset.supersedes || "";
      form.action = "/bar/" + encodeURIComponent(code);
      form.hidden = question.hidden = display.hidden = false;
      question.hidden = true;
      open = null;
      fill(text ?? later.get(code) ?? "");
      later.delete(code);
      refresh();
    };
    const next = () => {
      const list = chips(), from = list.indexOf(hand()), rest = list.slice(from + 1).concat(list.slice(0, from + 1)).find(c => !c.classList.contains("done"));
      if (rest) choose(rest.dataset.bar); else { fill(""); refresh(); }
    };
    const ask = e => { // in place of the display
      if (open && open.id === e.id) return;
      choose(e.bar, e.body.length);
      open = e;
      const chip = chipOf(e.bar);
      if (!chip.dataset.supersedes) { chip.classList.remove("done"); $$("span:not([translate])", chip).forEach(x => x.remove()); }
      display.hidden = true; question.hidden = false;
      $("[data-question]", form).textContent = e.refused || e.asked;
      const [fix, keep] = [$("[data-fix]", form), $("[data-keep]", form)];
      fix.hidden = !e.fix; fix.textContent = e.fix || ""; fix.className = "go"; keep.hidden = !!e.refused; keep.textContent = say("Keep {1}", e.body.length);
      $(".save", form).classList.remove("go");
    };
    const problem = () => all().find(e => (e.asked || e.refused) && chipOf(e.bar));
    const answered = () => { $(".save", form).classList.add("go"); open = null; const p = problem(); if (p) ask(p); else next(); };
    const put = async (text, sure) => {
      const chip = hand(), code = chip.dataset.bar, id = newID(), sensible = sure || believed(chip, text);
      const body = {stage: chip.dataset.stage, length: text, unit: $("[name=unit]", form).value};
      if (chip.dataset.supersedes) body.supersedes = chip.dataset.supersedes;
      const [tool, step, pair] = ["instrument", "step_mm", "mark"].map(n => $("[name=" + n + "]", form));
      if (tool) body.instrument = tool.value;
      if (step && number(step.value) > 0) body.step_mm = number(step.value);
      if (pair) body.mark = +pair.value;
      const outcome = new Promise(done => outcomes.set(id, done));
      if (!queue(code, id, body, sure)) { form.submit(); return; }
      if (sensible) { fill(""); mark(); next(); }
      const how = await outcome;
      if (how === "kept") { last = code; if (sensible) refresh(); else next(); return; }
      if (how === "away" && !sensible) change(id, x => { x.asked = say("About {1} is expected. Is {2} right?", chip.dataset.expected, text); });
      const p = problem();
      if (p) ask(p); else if (!sensible) next();
    };
    form.addEventListener("submit", e => {
      e.preventDefault();
      const by = e.submitter, entry = open;
      if (by && by.matches("[data-fix],[data-keep]")) {
        const text = by.matches("[data-fix]") ? by.value || by.textContent : typed(), sure = by.matches("[data-keep]");
        if (!entry) { put(text, sure); return; } // asked by the page as it came
        const outcome = new Promise(done => outcomes.set(entry.id, done));
        change(entry.id, x => { x.body.length = text; x.sure = sure; delete x.asked; delete x.fix; });
        outcome.then(how => { if (how === "kept") last = entry.bar; const p = problem(); if (p) ask(p); else refresh(); });
        open = null; fill(""); mark(); send(); answered();
        return;
      }
      if (!typed() || !question.hidden) { active.focus(); return; }
      put(typed(), false);
    });
    $("[data-again]", form).addEventListener("click", e => {
      e.preventDefault();
      if (open) { const id = open.id; open = null; change(id, (_, list, at) => list.splice(at, 1)); }
      $(".save", form).classList.add("go");
      choose(hand().dataset.bar, "");
      field.focus();
    });
    bowl.addEventListener("click", e => {
      const chip = e.target.closest(".four .chip[data-bar]"), key = e.target.closest("[data-key]");
      if (chip) { e.preventDefault(); choose(chip.dataset.bar); }
      if (!key) return;
      if (!question.hidden) { $("[data-again]", form).click(); }
      switch (key.dataset.key) {
        case "back": if (active === parts && !parts.value) active = field; active.value = active.value.slice(0, -1); break;
        case "next": active = parts; break;
        default: if (active.value.length < active.maxLength) active.value += key.dataset.key;
      }
      ring();
    });
    [field, parts].filter(Boolean).forEach(f => {
      f.addEventListener("input", ring);
      f.addEventListener("focus", () => { active = f; });
      if (matchMedia("(pointer: coarse)").matches) f.inputMode = "none"; // the page has keys of its own
    });
    addEventListener("told", e => { const p = problem(); if (p) ask(p); else if (e.detail === "kept" && !open) refresh(); }); // of what was typed before this page was opened
    mark(); ring();
    if (question.hidden) { const p = problem(); if (p) ask(p); else if (hand().classList.contains("done") && !hand().dataset.supersedes) next(); }
  }

  // One bar alone: the plain form goes out while there is a network, else its reading joins the queue.
  $$("form[data-bar]").forEach(f => f.addEventListener("submit", async e => {
    e.preventDefault();
    const there = await fetch("/healthz", {method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(3000)}).then(r => r.ok, () => false);
    const body = Object.fromEntries([...new FormData(f)].filter(([k, v]) => v && k !== "id" && k !== "again"));
    if (body.mark) body.mark = +body.mark;
    if (there || !body.length || !queue(f.dataset.bar, $("[name=id]", f).value, body)) { f.submit(); return; }
    $("[name=id]", f).value = newID();
    $("[name=length]", f).value = "";
    strip.scrollIntoView();
  }));

  // A form that is answered while it is filled in. What of the page hangs on the answer is marked data-part, what
  // hangs on the kind of question data-shape; both are taken from the page that the server makes.
  $$("form[data-answered]").forEach(f => {
    let timer = 0, last = 0, stands = ""; // the address of the answer that stands there
    const address = () => f.getAttribute("action") + "?" + new URLSearchParams([...new FormData(f)].filter(([, v]) => v));
    const ask = async (to, {shape, keep} = {}) => {
      clearTimeout(timer);
      const mine = ++last, r = await fetch(to, {headers: {Accept: "text/html"}}).catch(() => null);
      if (mine !== last || !r) return; // overtaken, or no network: what stands there stays
      const next = new DOMParser().parseFromString(await r.text(), "text/html");
      if (!$("[data-part]", next)) { location.assign(to); return; }
      const focus = document.activeElement && document.activeElement.id;
      $$(shape ? "[data-part],[data-shape]" : "[data-part]", next).forEach(p => {
        const at = p.dataset.shape ? $(`[data-shape="${p.dataset.shape}"]`) : $(`[data-part="${p.dataset.part}"]`);
        if (at && at !== p) at.replaceWith(p);
      });
      $$("input[id],select[id]", f).forEach(i => { const n = next.getElementById(i.id); if (n) n.ariaInvalid ? i.setAttribute("aria-invalid", "true") : i.removeAttribute("aria-invalid"); });
      if (focus && !document.activeElement?.id && document.getElementById(focus)) document.getElementById(focus).focus();
      if (keep) history.replaceState(null, "", to);
      stands = to;
    };
    const later = () => { clearTimeout(timer); timer = setTimeout(() => ask(address(), {keep: true}), 600); };
    f.addEventListener("input", e => {
      if (e.target.dataset.either !== undefined) $$("[data-either]", f).forEach(i => { if (i !== e.target) i.value = ""; }); // one of them is asked
      if (e.target.matches("input:not([type=radio])")) later();
    });
    f.addEventListener("change", e => { // asked already: nothing is exchanged under a finger that is on its way to a button
      if (address() !== stands) ask(address(), {keep: true, shape: ["seat", "unit", "clay"].includes(e.target.name)});
    });
    f.addEventListener("click", e => {
      const a = e.target.closest("a[data-ask=try]");
      if (a) { e.preventDefault(); ask(a.href); }
    });
  });

  // What follows starts part by part: an error in one leaves the others working.
  const start = (what, begin) => $$(what).forEach(e => { try { begin(e); } catch (wrong) { console.error(wrong); } });

  // Counters with a step down and a step up. What is not told of yet is counted, and can be said to be good.
  start("form[data-counts]", f => {
    const fields = $$(".stepper input", f), number = i => parseInt(i.value, 10) || 0, rest = $("[data-rest]", f);
    const all = () => { const pots = $$("[name=pot]", f); return pots.length ? pots.filter(p => p.checked).length : 0; };
    const left = () => all() - fields.reduce((sum, i) => sum + number(i), 0);
    const tell = () => {
      const n = left();
      if ($("[data-left]", f)) $("[data-left]", f).textContent = !all() ? "" : n > 0 ? say("{1} of {2} left", n, all()) : n < 0 ? say("{1} too many", -n) : say("all told");
      rest.hidden = n <= 0;
    };
    $$("[data-step]", f).forEach(b => {
      b.hidden = false;
      b.addEventListener("click", () => { const i = $("input", b.parentElement); i.value = Math.max(0, number(i) + +b.dataset.step) || ""; tell(); });
    });
    rest.addEventListener("click", () => { const good = $("#good", f); good.value = number(good) + left(); tell(); });
    f.addEventListener("input", tell);
    tell();
  });

  // A number pad for a text of one length a line, with a key for the next line.
  start("textarea[data-pad]", text => {
    const told = $("[data-lines]", text.form);
    const tell = () => { const n = text.value.split("\n").filter(l => l.trim()).length; told.textContent = n === 1 ? say("1 pot") : n ? say("{1} pots", n) : ""; };
    $$(".pad.lines [data-key]", text.form).forEach(b => b.addEventListener("click", () => {
      const v = text.value, k = b.dataset.key;
      text.value = k === "back" ? v.slice(0, -1) : k !== "next" ? v + k : v === "" || v.endsWith("\n") ? v : v + "\n";
      text.scrollTop = text.scrollHeight;
      tell();
    }));
    if (matchMedia("(pointer: coarse)").matches) text.inputMode = "none";
    text.addEventListener("input", tell);
    tell();
  });

  // A number that cannot be is told beside its field as soon as the field is left. What is no bare number, such as a
  // length with its unit, is read by the server alone.
  const unitsMM = {mm: 1, cm: 10, in: 25.4, "32nds": 25.4 / 32};
  start("input[data-most]", input => {
    const says = make("p", {className: "bad", hidden: true, id: "range-" + (input.id || input.name)}), told = input.getAttribute("aria-describedby");
    says.setAttribute("role", "status");
    (input.closest(".field, .stepper") || input).after(says);
    const check = () => {
      const typed = input.value.trim().replace(",", "."), percent = typed.endsWith("%"), n = Number(percent ? typed.slice(0, -1) : typed || "x");
      const {least, most, in: kind} = input.dataset, wide = kind === "mm" ? unitsMM[input.form?.elements.unit?.value] || 1 : 1;
      const value = kind === "share" && (percent || n >= 1) ? n / 100 : n * wide, unclear = kind === "share" && n < 1 && !percent;
      const off = !unclear && !(value === 0 && input.dataset.or) && (value < +least || value > +most);
      const show = v => (kind === "share" ? +(v * 100).toFixed(2) : +(v / wide).toFixed(3)).toLocaleString(document.documentElement.lang, {useGrouping: false, maximumFractionDigits: 3}) + (kind === "share" ? " %" : "");
      says.hidden = !off;
      says.textContent = off ? say("must lie from {1} to {2}", show(+least), show(+most)).replace(/^./u, c => c.toUpperCase()) : "";
      if (off) { input.ariaInvalid = "true"; input.setAttribute("aria-describedby", says.id); }
      else if (input.getAttribute("aria-describedby") === says.id) { input.ariaInvalid = null; told ? input.setAttribute("aria-describedby", told) : input.removeAttribute("aria-describedby"); }
    };
    input.addEventListener("change", check);
    input.addEventListener("input", () => says.hidden || check());
  });

  // A big keypad, on demand: the phone's own comes first.
  start("[data-calls=pad]", call => {
    const field = call.closest(".field"), input = $("input", field), pad = make("div", {className: "pad", hidden: true}), sign = document.documentElement.lang === "de" ? "," : ".";
    [..."789456123"].concat(sign, "0", "←").forEach(k => {
      const b = make("button", {type: "button", textContent: k, ariaLabel: k === "←" ? say("one back") : k === "," ? say("decimal comma") : k === "." ? say("decimal point") : k});
      b.addEventListener("click", () => {
        input.value = k === "←" ? input.value.slice(0, -1) : input.value + k;
        input.dispatchEvent(new Event("input", {bubbles: true}));
      });
      pad.append(b);
    });
    call.addEventListener("click", () => { pad.hidden = !pad.hidden; call.ariaExpanded = String(!pad.hidden); if (!pad.hidden) input.blur(); });
    field.after(pad);
  });

  // A read-out on curves: where the pointer, the finger or the arrow keys are. Zoom asks the server for
  // another drawing: by the buttons, by dragging over a part, by two fingers, by the wheel with Ctrl.
  const ns = "http://www.w3.org/2000/svg";
  const swap = async (url, push) => {
    const r = await fetch(url, {headers: {Accept: "text/html"}}).catch(() => null);
    const next = r && r.ok && new DOMParser().parseFromString(await r.text(), "text/html").getElementById("curve");
    if (!next) { location.assign(url); return; }
    $("#curve").replaceWith(next);
    if (push) history.pushState({curve: true}, "", url);
    curve(next);
  };
  const partOf = (from, to) => { const u = new URL(location.href); u.searchParams.set("from", Math.round(from)); u.searchParams.set("to", Math.round(to)); u.hash = "curve"; return u.href; };
  const curve = figure => {
    const out = $("output", figure);
    if (!out) return; // drawn to be seen alone
    const {above, below, same} = out.dataset;
    figure.addEventListener("click", e => {
      const a = e.target.closest("[data-zoom]");
      if (a) { e.preventDefault(); swap(a.href, true); }
    });
    $$("svg[data-frame]", figure).forEach(svg => {
      const [left, top, right, bottom, from, to, low, high, end] = svg.dataset.frame.split(" ").map(Number);
      const points = svg.dataset.points.split(" ").map(p => p.split(",").map(Number));
      if (!(points[0].length > 1)) return;
      const hair = document.createElementNS(ns, "path"), mark = document.createElementNS(ns, "rect");
      hair.setAttribute("class", "cursor"); mark.setAttribute("class", "picked");
      svg.append(mark, hair);
      svg.tabIndex = 0;
      let at = points.length - 1, shown = false; // the hair comes with the pointer
      const tellAt = () => {
        const [s, c, usual] = points[at], before = points.findLast(p => p[0] <= s - 600) || points[0], x = left + (s - from) / (to - from) * (right - left), y = bottom - (c - low) / (high - low) * (bottom - top);
        if (shown) hair.setAttribute("d", `M${x.toFixed(1)} ${top}V${bottom}M${(x - 5).toFixed(1)} ${y.toFixed(1)}h10`);
        const minutes = Math.round(s / 60), f = out.dataset.unit === "°F", t = v => Math.round(f ? v * 1.8 + 32 : v), rate = at ? (c - before[1]) / (s - before[0]) * 3600 * (f ? 1.8 : 1) : 0;
        const off = t(c) - t(usual), usually = isNaN(off) ? "" : off ? (off < 0 ? above : below).replace("{1}", Math.abs(off)) : same;
        out.textContent = together([`${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`, t(c) + " " + out.dataset.unit, at ? (rate > 0 ? "+" : "") + Math.round(rate) + " " + out.dataset.unit + "/h" : "", usually].filter(Boolean).join("   "));
      };
      const secondsAt = e => { const r = svg.getBoundingClientRect(), x = (e.clientX - r.left) / r.width * svg.viewBox.baseVal.width; return Math.min(to, Math.max(from, from + (x - left) / (right - left) * (to - from))); };
      const nearest = s => points.reduce((best, p, i) => Math.abs(p[0] - s) < Math.abs(points[best][0] - s) ? i : best, 0);
      const zoomTo = (a, b) => {
        const half = Math.max(300, b - a) / 2, middle = Math.min(end - half, Math.max(half, (a + b) / 2));
        swap(2 * half >= end ? (() => { const u = new URL(location.href); u.searchParams.delete("from"); u.searchParams.delete("to"); u.hash = "curve"; return u.href; })() : partOf(Math.max(0, middle - half), Math.min(end, middle + half)), true);
      };
      const fingers = new Map();
      let begun = null;
      svg.addEventListener("pointerdown", e => { fingers.set(e.pointerId, e); if (e.pointerType === "mouse") begun = secondsAt(e); });
      svg.addEventListener("pointermove", e => {
        at = nearest(secondsAt(e)); shown = true; tellAt();
        if (begun === null) return;
        const a = Math.min(begun, secondsAt(e)), b = Math.max(begun, secondsAt(e)), x = s => left + (s - from) / (to - from) * (right - left);
        mark.setAttribute("x", x(a)); mark.setAttribute("y", top); mark.setAttribute("width", x(b) - x(a)); mark.setAttribute("height", bottom - top);
      });
      const lift = e => {
        const first = fingers.get(e.pointerId);
        fingers.delete(e.pointerId);
        if (begun !== null && e.type === "pointerup") {
          const a = Math.min(begun, secondsAt(e)), b = Math.max(begun, secondsAt(e));
          if (b - a > (to - from) / 40) zoomTo(a, b);
        }
        begun = null;
        const other = [...fingers.values()][0]; // two fingers: what lies between them where they come up, against where they went down
        if (first && other && e.pointerType === "touch") {
          const was = Math.abs(first.clientX - other.clientX), is = Math.abs(e.clientX - other.clientX);
          if (was > 20 && is > 20 && Math.abs(is - was) > 20) { const middle = (secondsAt(e) + secondsAt(other)) / 2, half = (to - from) / 2 * was / is; fingers.clear(); zoomTo(middle - half, middle + half); }
        }
      };
      ["pointerup", "pointercancel", "pointerleave"].forEach(t => svg.addEventListener(t, lift));
      svg.addEventListener("wheel", e => {
        if (!e.ctrlKey && !e.metaKey) return; // the page scrolls
        e.preventDefault();
        const s = secondsAt(e), k = e.deltaY < 0 ? .5 : 2;
        zoomTo(s - (s - from) * k, s + (to - s) * k);
      }, {passive: false});
      svg.addEventListener("keydown", e => {
        const middle = points[at][0], half = (to - from) / 2;
        switch (e.key) {
          case "ArrowLeft": at = Math.max(0, at - 1); break;
          case "ArrowRight": at = Math.min(points.length - 1, at + 1); break;
          case "+": zoomTo(middle - half / 2, middle + half / 2); break;
          case "-": zoomTo(middle - half * 2, middle + half * 2); break;
          case "0": zoomTo(0, end); break;
          default: return;
        }
        e.preventDefault(); shown = true; tellAt();
      });
      out.textContent = out.dataset.hint;
    });
  };
  start("figure.curve", curve);
  addEventListener("popstate", () => { if ($("#curve")) swap(location.href, false); });
})();
