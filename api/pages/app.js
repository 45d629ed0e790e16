// lidwright: live figures, a read-out on curves, keys for wet thumbs, and a queue for readings
// while the network is away. Every page is read without it.
"use strict";
(() => {
  const $ = (s, e = document) => e.querySelector(s), $$ = (s, e = document) => [...e.querySelectorAll(s)];
  // Words in the language of the page; what it has not is said in English.
  const words = JSON.parse(document.documentElement.dataset.words || "{}");
  const say = (text, ...fill) => (words[text] || text).replace(/\{(\d)\}/g, (_, n) => fill[n - 1]);
  const make = (tag, props = {}, ...inside) => { const e = Object.assign(document.createElement(tag), props); e.append(...inside); return e; };

  // What the kilns do, as it happens. A reading that grew old is struck through even where the
  // stream has broken off: its age is counted here.
  const tiles = $$("[data-kiln]");
  const put = (tile, what, text) => $$(`[data-live=${what}]`, tile).forEach(e => { if (e.textContent !== text) e.textContent = text; });
  const figure = (tile, value, fresh) => $$("[data-live=temperature]", tile).forEach(e => {
    if (value === null) return;
    const number = make("span", {className: fresh ? "" : "struck", textContent: Math.round(value)});
    e.replaceChildren(number, make("small", {textContent: " °C" + (fresh ? "" : say(", not heard now"))}));
  });
  const heard = new Map();
  const tell = k => tiles.filter(t => t.dataset.kiln === k.kiln).forEach(t => {
    figure(t, k.fresh ? k.temperature_c : k.last_temperature_c, k.fresh);
    const other = (shown, now) => shown !== undefined && shown !== String(now);
    const {state, hot, over, still} = t.dataset; // other cautions belong to others of them
    if (other(state, k.state) || other(hot, k.hot) || other(over, k.over_limit) || other(still, k.still_hot)) { location.reload(); return; }
    put(t, "state", say(k.state.replaceAll("_", " ")));
    put(t, "rate", k.rate_c_per_h === null ? "–" : (k.rate_c_per_h > 0 ? "+" : "") + k.rate_c_per_h + " °C/h");
    if (k.hours !== null) put(t, "hours", k.hours.toFixed(1) + " h");
    if (k.peak_c !== null) put(t, "peak", Math.round(k.peak_c) + " °C");
    if (k.cone_words) put(t, "cone", say(k.cone_words));
    if (k.corrected) put(t, "corrected", say(k.corrected.cone_words));
    heard.set(t, {at: performance.now() - 1000 * (k.read_age_s ?? 0), known: k.read_age_s !== null, waits: k.waits, last: k.last_temperature_c});
  });
  if (tiles.length && window.EventSource) {
    const stream = new EventSource("/v1/stream?kinds=now");
    stream.addEventListener("now", e => tell(JSON.parse(e.data)));
    addEventListener("pagehide", () => stream.close());
    setInterval(() => heard.forEach((h, t) => {
      const age = Math.round((performance.now() - h.at) / 1000);
      put(t, "age", h.known ? say("{1} s ago", age) : say(h.waits));
      if (stream.readyState !== EventSource.OPEN && age > 30) { figure(t, h.last, false); put(t, "state", say("not heard: is this machine in the network?")); }
    }), 1000);
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
  const strip = make("section", {className: "waiting", hidden: true, ariaLabel: say("Readings that wait")});
  strip.setAttribute("aria-live", "polite");
  const what = e => e.bar + " " + e.body.stage + " " + e.body.length + " " + (e.body.unit || "");
  const show = () => {
    const list = all(), waits = list.filter(e => !e.refused && !e.asked), refused = list.filter(e => e.refused), asked = list.filter(e => e.asked);
    strip.hidden = !list.length;
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
          if (a.not_kept) { change(e.id, x => { x.asked = a.question; }); continue; } // asked about before it is kept
          change(e.id, (_, list, at) => list.splice(at, 1));
          dispatchEvent(new CustomEvent("kept", {detail: {entry: e, answer: a}}));
          continue;
        }
        const p = await r.json().catch(() => ({}));
        const says = (p.fields && p.fields.length ? p.fields.map(f => f.says).join("; ") : p.detail) || p.title || "HTTP " + r.status;
        if ([401, 403, 429].includes(r.status) || r.status >= 500) { failed = true; change(e.id, x => { x.why = says; x.code = r.status === 401 || r.status === 403; }); if (r.status !== 429) continue; break; }
        change(e.id, x => { x.refused = says; });
      } catch { failed = true; change(e.id, x => { x.why = say("This machine is not in the network."); }); break; }
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
  $("main") && $("main").prepend(strip);
  show(); send();
  addEventListener("online", () => { tries = 0; send(); });

  // One bar a screen: the forms of a load, one at a time, each sent to the queue.
  const forms = $$("form[data-reading]");
  const believed = f => {
    const v = $("[name=length]", f).value.trim().replace(",", "."), low = +f.dataset.low, high = +f.dataset.high;
    const per = {mm: 1, cm: 10, in: 25.4}[($("[name=unit]", f) || {value: "mm"}).value];
    const mm = /^\d+(\.\d+)?$/.test(v) && per ? +v * per : NaN; // fractions are the server's to judge
    return isNaN(mm) || !high || mm >= low && mm <= high;
  };
  if (forms.length) {
    const later = f => forms[(forms.indexOf(f) + 1) % forms.length];
    const open = f => forms.forEach(g => { g.closest("li").hidden = g !== f; if (g === f) $("[name=length]", g).focus(); });
    const done = new Set();
    const next = f => { for (let g = later(f), n = 0; n < forms.length; g = later(g), n++) if (!done.has(g)) return g; };
    const over = $("[data-over]");
    forms.forEach(f => {
      const pass = make("button", {type: "button", textContent: say("Next")});
      pass.addEventListener("click", () => open(next(f) === f ? f : next(f) || f));
      $(".row", f).append(pass);
      f.addEventListener("submit", e => {
        const body = Object.fromEntries([...new FormData(f)].filter(([k, v]) => v && ["stage", "length", "unit", "by"].includes(k)));
        if (!body.length) { e.preventDefault(); $("[name=length]", f).focus(); return; }
        const ask = $("[data-ask]", f);
        if (!believed(f) && !f.dataset.sure) { // asked in the same place, before anything is kept; Enter again keeps
          e.preventDefault();
          ask.hidden = false;
          ask.textContent = say("About {1} mm is to be expected, {2} to {3} at the outside. Fix it, or press Keep again.", f.dataset.expected, f.dataset.low, f.dataset.high);
          f.dataset.sure = "1";
          return;
        }
        if (!queue(f.dataset.reading, $("[name=id]", f).value, body, f.dataset.sure)) return;
        e.preventDefault();
        done.add(f);
        const g = next(f);
        forms.forEach(x => { const s = $("[data-count]", x); if (s) s.textContent = say("{1} to go", forms.length - done.size); });
        if (g) open(g); else { f.closest("li").hidden = true; if (over) { over.hidden = false; over.focus(); } }
      });
      $("[name=length]", f).addEventListener("input", () => { delete f.dataset.sure; $("[data-ask]", f).hidden = true; });
    });
    const waits = new Set(all().filter(e => !e.refused).map(e => e.bar)); // typed before this page was opened
    forms.filter(f => waits.has(f.dataset.reading)).forEach(f => { done.add(f); f.closest("li").hidden = true; });
    const first = forms.find(f => !done.has(f));
    if (first) open(first); else if (over) over.hidden = false;
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

  // A big keypad, on demand: the phone's own comes first.
  $$("input.length").forEach(input => {
    const pad = make("div", {className: "pad", hidden: true});
    [..."789456123"].concat(",", "0", "←").forEach(k => {
      const b = make("button", {type: "button", textContent: k, ariaLabel: k === "←" ? say("one back") : k === "," ? say("decimal comma") : k});
      b.addEventListener("click", () => {
        input.value = k === "←" ? input.value.slice(0, -1) : input.value + k;
        input.dispatchEvent(new Event("input", {bubbles: true}));
      });
      pad.append(b);
    });
    const call = make("button", {type: "button", className: "quiet-key", textContent: say("Big keys"), ariaExpanded: "false"});
    call.addEventListener("click", () => { pad.hidden = !pad.hidden; call.ariaExpanded = String(!pad.hidden); if (!pad.hidden) input.blur(); });
    input.closest(".field").after(call, pad);
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
    const out = $("output", figure), {above, below, same} = out.dataset;
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
        const [s, c, usual] = points[at], before = points[Math.max(0, at - 1)], x = left + (s - from) / (to - from) * (right - left), y = bottom - (c - low) / (high - low) * (bottom - top);
        if (shown) hair.setAttribute("d", `M${x.toFixed(1)} ${top}V${bottom}M${(x - 5).toFixed(1)} ${y.toFixed(1)}h10`);
        const minutes = Math.round(s / 60), f = out.dataset.unit === "°F", t = v => Math.round(f ? v * 1.8 + 32 : v), rate = at ? (c - before[1]) / (s - before[0]) * 3600 * (f ? 1.8 : 1) : 0;
        const off = t(c) - t(usual), usually = isNaN(off) ? "" : off ? (off < 0 ? above : below).replace("{1}", Math.abs(off)) : same;
        out.textContent = [`${Math.floor(minutes / 60)} h ${String(minutes % 60).padStart(2, "0")}`, t(c) + " " + out.dataset.unit, at ? (rate > 0 ? "+" : "") + Math.round(rate) + " " + out.dataset.unit + "/h" : "", usually].filter(Boolean).join("   ");
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
      tellAt();
    });
  };
  $$("figure.curve").forEach(curve);
  addEventListener("popstate", () => { if ($("#curve")) swap(location.href, false); });
})();
