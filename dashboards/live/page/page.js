// The page: one event stream in, plain forms out. The stream's "status" is always whole, so after any gap the page is
// right again without asking what it missed.
"use strict";

const $ = (id) => document.getElementById(id);
const failures = new Set(["late", "silent", "weak", "off-frequency", "dropped-out"]);
const notCounted = new Set(["unpowered", "unread"]);
const cyclesShown = 20;
const chartsEvery = 5000; // ms; charts are drawn from the whole logbook, so not at every cycle

const wide = window.matchMedia("(min-width: 52rem)"); // as in the style sheet

let run = 0; // number of the run shown
let status = null;
let locked = true; // this page may not command
let cycles = []; // newest first
let marks = [];
let chartsDrawn = 0;
let chartsDue = 0; // timer

// Text goes into the page as text and never as markup: names and marks are typed by people.
function element(tag, text, className) {
  const e = document.createElement(tag);
  if (text !== undefined) e.textContent = text;
  if (className) e.className = className;
  return e;
}

function show(id, visible) { $(id).hidden = !visible; }

// A screen reader reads what is set anew, even if it says the same.
function say(id, text) { if ($(id).textContent !== text) $(id).textContent = text; }

function link(text, href) {
  const a = element("a", text);
  a.href = href;
  return a;
}

// --- numbers as a person reads them

function percent(ratio) {
  const p = 100 * ratio;
  if (p === 0 || p === 100) return p + " %";
  return (p < 1 ? p.toPrecision(2) : p < 10 ? p.toFixed(1) : p > 99 ? p.toFixed(1) : p.toFixed(0)) + " %";
}

const absent = (v) => v === null || v === undefined;
const volts = (v) => absent(v) ? "–" : v.toFixed(3).replace(/(\.\d+?)0+$/, "$1") + " V"; // 3.0 V, 2.75 V
const milli = (v, unit) => absent(v) ? "–" : (1000 * v).toPrecision(3) + " m" + unit;
const megahertz = (v) => absent(v) ? "–" : (v / 1e6).toFixed(4) + " MHz";
const celsius = (v) => absent(v) ? "–" : v.toFixed(1) + " °C";
const minus = (text) => text.replace("-", "−");

// Times are the bench's own, in the bench's zone where the browser knows it.
function inZone(time, style) {
  const zone = status && status.run && status.run.zone;
  try {
    return new Intl.DateTimeFormat("en-GB", zone ? { ...style, timeZone: zone } : style).format(new Date(time));
  } catch {
    return new Intl.DateTimeFormat("en-GB", style).format(new Date(time));
  }
}

function clock(time, seconds) {
  if (!time) return "–";
  const style = { hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  if (seconds) style.second = "2-digit";
  return inZone(time, style);
}

// A run goes over midnight, so its begin and end have their day.
const dayAndClock = (time) => time ? inZone(time, { weekday: "short", day: "numeric", month: "short" }) + ", " + clock(time) : "–";

function duration(ms) {
  const minutes = Math.round(ms / 60000);
  if (minutes < 1) return "less than a minute";
  if (minutes < 60) return minutes + " min";
  return Math.floor(minutes / 60) + " h " + String(minutes % 60).padStart(2, "0") + " min";
}

// --- what the status says

function showStatus(now) {
  status = now;
  const id = now.run ? now.run.run : 0;
  if (id !== run) { run = id; loadRun(); }
  showHeadline(now);
  showHold(now);
  showConditions(now.progress.conditions);
  showVerdicts(now.progress.conditions);
  showBench(now);
  showAlarm(now);
  $("cautions").replaceChildren(...now.cautions.map((text) => element("li", text)));
  $("version").textContent = "ringup " + now.version;
  for (const e of $("stop-form").elements) e.disabled = !now.active;
  for (const e of $("hold-form").elements) e.disabled = !now.active || now.hold !== null && now.hold.for_person;
  drawCharts();
}

function showHeadline(now) {
  const r = now.run;
  const interrupted = r && !now.active && (r.state === "running" || r.state === "held");
  say("state", !r ? "no run" : interrupted ? "interrupted" : r.state);
  $("state").className = "state " + (!r ? "" : interrupted ? "stopped" : r.state);
  showSupply(now);
  showNext(now, interrupted);
  show("simulated", r && r.simulated);
  $("unit").textContent = r ? r.unit : "No run yet";
  $("treatment").textContent = r ? [now.treatment, "run " + r.run, r.script, "since " + dayAndClock(r.started)].filter(Boolean).join(" · ") : "";
  show("reason", r && r.reason && r.state !== "held");
  $("reason").textContent = r ? r.reason : "";
  document.title = (r ? $("state").textContent + " · " + r.unit + " · " : "") + "ringup";
  if (!r) return;
  const p = now.progress;
  let text = p.planned ? p.done.toLocaleString("en-GB") + " of " + p.planned.toLocaleString("en-GB") + " cycles" : p.done.toLocaleString("en-GB") + " cycles";
  if (now.active && p.expected_end) {
    text += " · should end " + dayAndClock(p.expected_end) + ", in " + duration(new Date(p.expected_end) - new Date(now.clock));
  } else if (r.ended) {
    text += " · ended " + dayAndClock(r.ended);
  }
  $("howfar").textContent = text;
  $("shown").textContent = whatItShows(p.conditions);
  show("bar", p.planned > 0);
  $("bar").max = p.planned || 1;
  $("bar").value = Math.min(p.done, p.planned);
}

// Whether the supply is off must be seen without scrolling.
function showSupply(now) {
  const [text, className] = supplyText(now);
  $("supply").textContent = "supply " + text;
  $("supply").className = "tag " + className;
  show("supply", now.run !== null);
}

function supplyText(now) {
  const s = now.supply;
  if (!s.known) return ["not heard of in this process", ""];
  if (s.output) return ["on", "on"];
  if (s.confirmed_off) return ["off, confirmed", "ok"];
  return energised(now) ? ["NOT CONFIRMED OFF", "warn"] : ["being switched", "on"];
}

// The supply may be on, or not yet off, only while a run measures.
const energised = (now) => now.supply.known && !now.supply.confirmed_off && (!now.active || now.hold !== null);

// The night in one sentence: how often it failed, and where most.
function whatItShows(conditions) {
  const counted = conditions.filter((c) => c.cycles > 0);
  const sum = (of) => conditions.reduce((n, c) => n + of(c), 0);
  const cycles = sum((c) => c.cycles), failed = sum((c) => c.failures), apart = sum((c) => c.not_counted);
  if (cycles === 0) return apart ? "No start counted: " + apart.toLocaleString("en-GB") + " unpowered or unread." : "";
  let text = (failed === 0 ? "None" : failed.toLocaleString("en-GB")) + " of " + cycles.toLocaleString("en-GB") + (cycles === 1 ? " start" : " starts") + " failed";
  if (failed > 0 && counted.length > 1) {
    const worst = counted.reduce((a, b) => b.estimate > a.estimate ? b : a);
    const several = counted.some((c) => c.treatment !== worst.treatment);
    text += "; worst at " + (worst.volts === null ? "all voltages" : volts(worst.volts)) + (several ? ", " + worst.treatment : "") +
      ": " + percent(worst.estimate) + " (" + interval(worst) + ", " + worst.failures + " of " + worst.cycles + ")";
  }
  return text + (apart ? "; " + apart.toLocaleString("en-GB") + " more not counted." : ".");
}

function interval(c) {
  return c.one_sided && c.failures === 0 ? "at most " + percent(c.high)
    : c.one_sided ? "at least " + percent(c.low)
    : percent(c.low).replace(" %", "") + " to " + percent(c.high);
}

// What a person is to do now.
function showNext(now, interrupted) {
  const r = now.run;
  const report = () => link("report", "/api/v1/runs/" + r.run + "/report");
  let parts;
  if (!r) parts = ["Start a script: under ", link("Run", "#control"), ", or with ringup submit."];
  else if (interrupted) parts = ["It goes on once the instruments answer, or when the same script is run again on this bench. ", link("What was said last", "/debug")];
  else if (now.hold && now.hold.question) parts = ["It waits for your ", link("answer", "#hold"), "."];
  else if (now.hold && now.hold.for_person) parts = ["It waits until you let it ", link("go on", "#hold"), "."];
  else if (now.hold) parts = ["It waits for an instrument. ", link("What was said last", "/debug")];
  else if (now.active) parts = ["Nothing to do: at its end the supply goes off."];
  else if (r.state === "failed") parts = ["Mend what the reason says and run the script again. ", link("What was said last", "/debug"), " · ", report()];
  else parts = [r.accepted === true ? "The script accepts the unit. " : r.accepted === false ? "The script rejects the unit. " : "", "Read the ", report(), ", then start the next script under ", link("Run", "#control"), "."];
  const text = parts.map((p) => p.textContent ?? p).join("") + r?.run;
  if ($("next").dataset.says === text) return; // a link that is replaced at every cycle cannot be clicked
  $("next").dataset.says = text;
  $("next").replaceChildren(...parts);
}

function showHold(now) {
  show("hold", now.hold !== null);
  if (!now.hold) return;
  $("hold-title").textContent = now.supply.confirmed_off ? "The run waits, supply off" : "The run waits; the supply is not confirmed off";
  say("question", now.hold.question || now.hold.reason);
  show("answer-form", now.hold.question !== "");
  show("resume-form", now.hold.for_person);
  show("hold-self", now.hold.question === "" && !now.hold.for_person);
  show("resume-locked", now.hold.for_person && locked);
  for (const e of $("resume-form").elements) e.disabled = locked;
}

function showConditions(conditions) {
  const counted = conditions.filter((c) => c.cycles > 0);
  if (counted.length === 0) {
    $("conditions").replaceChildren(element("p", "No counted cycle yet.", "quiet"));
    return;
  }
  const tables = new Map();
  for (const c of counted) {
    if (!tables.has(c.treatment)) {
      const table = element("table", undefined, "rates");
      const names = element("tr");
      for (const name of ["volts", "failure rate", "interval"]) {
        const head = element("th");
        head.scope = "col";
        head.append(element("span", name, "unseen"));
        names.append(head);
      }
      const heads = element("thead");
      heads.append(names);
      table.append(element("caption", c.treatment || "as found"), heads, element("tbody"));
      tables.set(c.treatment, table);
    }
    const row = element("tr");
    const head = element("th", c.volts === null ? "all" : volts(c.volts), "volts");
    head.scope = "row";
    const rate = element("td", percent(c.estimate), "rate num");
    const sure = element("td", interval(c));
    sure.append(element("span", c.failures + " of " + c.cycles, "quiet count"));
    row.append(head, rate, sure);
    tables.get(c.treatment).tBodies[0].append(row);
  }
  const note = element("p", Math.round(100 * counted[0].confidence) + " % confidence, exact. Unpowered and unread cycles count neither way.", "quiet");
  $("conditions").replaceChildren(...tables.values(), note);
}

function showVerdicts(conditions) {
  const sums = new Map();
  for (const c of conditions) for (const [v, n] of Object.entries(c.verdicts)) sums.set(v, (sums.get(v) || 0) + n);
  if (sums.size === 0) return;
  const list = element("dl");
  for (const v of ["started", ...failures, ...notCounted]) {
    if (!sums.has(v)) continue;
    list.append(element("dt", v, verdictClass(v)), element("dd", sums.get(v).toLocaleString("en-GB") + (notCounted.has(v) ? " (not counted)" : "")));
  }
  $("verdicts").replaceChildren(list);
}

const verdictClass = (v) => failures.has(v) ? "failed-verdict" : notCounted.has(v) ? "not-counted" : "";

function showBench(now) {
  const list = [];
  const add = (name, text, className) => list.push(element("dt", name), element("dd", text, className));
  const s = now.supply;
  if (s.output) add("Supply", "on, " + volts(s.volts) + ", " + milli(s.amps, "A"));
  else add("Supply", ...supplyText(now));
  add("Ambient", minus(celsius(now.ambient_celsius)));
  const roles = Object.keys(now.instruments).sort();
  const well = roles.filter((role) => now.instruments[role].answers);
  if (well.length) add("Instruments", well.join(", ") + (well.length === 1 ? " answers" : " answer"), "ok");
  for (const role of roles) {
    const i = now.instruments[role];
    if (!i.answers) add(role, "DOES NOT ANSWER", "no");
    if (i.errors) add(role + " errors", i.errors + ", last: " + i.last_error);
  }
  if (now.clock) add("Bench clock", clock(now.clock, true));
  $("bench").replaceChildren(...list);
}

function showAlarm(now) {
  const text = energised(now) ? "The supply is not confirmed off and nothing is measuring. Switch it off by hand and pull the unit's lead." : "";
  say("alarm", text);
  show("alarm", energised(now));
}

// --- cycles and marks

function showCycles() {
  show("cycles-table", cycles.length > 0);
  show("no-cycles", cycles.length === 0);
  $("cycles").replaceChildren(...cycles.map((c) => {
    const row = element("tr");
    row.append(
      element("td", c.number), element("td", clock(c.begun, true)), element("td", volts(c.set_volts), "num"),
      element("td", c.verdict, verdictClass(c.verdict)), element("td", milli(c.start_seconds, "s"), "num"),
      element("td", megahertz(c.frequency_hertz), "num"), element("td", minus(celsius(c.ambient_celsius)), "num"),
      element("td", c.reason, "quiet"));
    return row;
  }));
}

function showMarks() {
  show("no-marks", marks.length === 0);
  $("marks").replaceChildren(...marks.map((m) => {
    const item = element("li");
    const time = element("time", clock(m.at));
    time.dateTime = m.at;
    item.append(time, " " + (m.kind === "mark" ? "" : m.kind + ": ") + m.text);
    return item;
  }));
}

async function loadRun() {
  cycles = []; marks = [];
  showCycles(); showMarks();
  const shown = run;
  for (const id of ["rate-figure", "verdicts-figure", "waves", "night", "downloads"]) show(id, false);
  if (!shown) return;
  const at = "/api/v1/runs/" + shown;
  $("downloads").replaceChildren(
    ...[["report", at + "/report"], ["CSV", at + "/export?format=csv"], ["JSON lines", at + "/export?format=jsonl"], ["Parquet", at + "/export?format=parquet"]].flatMap(([text, href], i) => {
      return i ? [" · ", link(text, href)] : [link(text, href)];
    }));
  show("downloads", true);
  try {
    const after = Math.max(0, status.progress.done - cyclesShown);
    const got = await Promise.all([getJSON(at + "/cycles?limit=" + cyclesShown + "&after=" + after), getJSON(at + "/marks")]);
    if (run !== shown) return;
    const known = new Set(cycles.map((c) => c.number));
    cycles = cycles.concat(got[0].cycles.filter((c) => !known.has(c.number)).reverse()).slice(0, cyclesShown);
    marks = got[1].marks.reverse();
    showCycles(); showMarks();
  } catch (problem) {
    offline(problem.message);
  }
  chartsDrawn = 0;
  drawCharts();
}

async function getJSON(address) {
  const response = await fetch(address, { cache: "no-store" });
  const body = await response.json();
  if (!response.ok) throw new Error(body.error);
  return body;
}

// --- charts: pictures the server draws; a picture that cannot be drawn yet is not shown

function drawCharts() {
  if (!run || chartsDue) return;
  const wait = chartsDrawn + chartsEvery - Date.now();
  if (wait > 0) {
    if (status.active) chartsDue = setTimeout(() => { chartsDue = 0; drawCharts(); }, wait);
    return;
  }
  chartsDrawn = Date.now();
  drawChart("rate", "rate-chart", "rate-figure");
  drawChart("waves", "waves-chart", "waves");
  drawChart("night", "night-chart", "night");
  drawChart("verdicts", "verdicts-chart", "verdicts-figure");
}

function drawChart(kind, id, frame) {
  const next = new Image();
  const of = run;
  // Drawn for the room there is, in steps, so that letters keep their size on a phone.
  const narrow = kind === "rate" || kind === "verdicts"; // the others scroll sideways
  const place = $(id).closest(kind === "rate" ? ".sides" : ".card");
  const room = Math.max((place.clientWidth || document.body.clientWidth) / (kind === "rate" && wide.matches ? 2 : 1), narrow ? 0 : 576) - 32;
  const width = Math.min(960, Math.max(280, 40 * Math.floor(room / 40)));
  next.onload = () => { if (run === of) { $(id).src = next.src; show(frame, true); } };
  next.src = "/api/v1/runs/" + run + "/chart/" + kind + ".svg?width=" + width + "&done=" + status.progress.done + "&state=" + status.run.state;
}

// --- commands

async function post(address, body, token) {
  const headers = { "Content-Type": "application/json" };
  if (token) headers.Authorization = "Bearer " + token;
  const response = await fetch(address, { method: "POST", headers, body: JSON.stringify(body || {}) });
  if (response.status === 204) return {};
  const answer = await response.json();
  if (!response.ok) throw new Error(answer.error);
  return answer;
}

function onSubmit(id, command) {
  const form = $(id);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const result = form.querySelector(".result");
    result.className = "result";
    result.textContent = "…";
    try {
      result.textContent = await command();
    } catch (problem) {
      result.textContent = problem.message;
      result.classList.add("bad");
    }
  });
}

onSubmit("answer-form", async () => {
  await post("/api/v1/answer", { text: $("answer").value });
  $("answer").value = "";
  return "Answered.";
});

onSubmit("mark-form", async () => {
  await post("/api/v1/mark", { text: $("mark").value, treatment: $("is-treatment").checked });
  $("mark").value = "";
  return "Noted.";
});

onSubmit("resume-form", async () => {
  await post("/api/v1/resume");
  return "Going on.";
});

onSubmit("hold-form", async () => {
  await post("/api/v1/hold", { reason: $("hold-reason").value });
  $("hold-reason").value = "";
  return "It holds once no cycle is energised. Touch nothing before the page says that the supply is off.";
});

onSubmit("stop-form", async () => {
  if (!confirm("Stop the run? The supply goes off and the run ends; its cycles stay in the logbook.")) return "";
  await post("/api/v1/stop");
  return "Stopping.";
});

onSubmit("submit-form", async () => {
  const file = $("script-file").files[0];
  const answer = await post("/api/v1/runs", { name: file.name, script: await file.text() });
  return answer.run ? "Run " + answer.run + " has begun." : "Taken.";
});

onSubmit("token-form", async () => {
  await unlock($("token").value.trim());
  $("token").value = "";
  return "";
});

async function unlock(token) {
  await post("/api/v1/session", {}, token);
  await showSession();
}

// A process that only shows has no forms at all; one that wants the token says so.
async function showSession() {
  const s = await getJSON("/api/v1/session");
  show("locked", s.commands && !s.allowed);
  show("token-form", s.commands && !s.allowed);
  show("answer-locked", s.commands && !s.allowed);
  for (const id of ["mark-form", "hold-form", "stop-form", "submit"]) show(id, s.commands && s.allowed);
  locked = !s.allowed;
  if (status) showHold(status);
  for (const e of $("answer-form").elements) e.disabled = !s.allowed;
}

// --- the stream

function offline(text) {
  show("link", text !== "");
  $("link").textContent = text;
}

function listen() {
  const stream = new EventSource("/api/v1/events");
  stream.addEventListener("status", (e) => { offline(""); showStatus(JSON.parse(e.data)); });
  stream.addEventListener("cycle", (e) => {
    const c = JSON.parse(e.data);
    if (c.run !== run) return; // loadRun fetches it
    cycles = [c, ...cycles.filter((other) => other.number !== c.number)].slice(0, cyclesShown);
    showCycles();
  });
  stream.addEventListener("mark", (e) => {
    const m = JSON.parse(e.data);
    if (m.run !== run) return;
    marks = [m, ...marks];
    showMarks();
  });
  stream.addEventListener("missed", () => loadRun());
  stream.onerror = () => offline("no connection; what you see is old");
}

// A link to the page may carry the token behind a #, which browsers never send; it is traded for a session and taken out
// of the address at once.
async function begin() {
  const given = new URLSearchParams(location.hash.slice(1)).get("token");
  if (given) {
    history.replaceState(null, "", location.pathname);
    await unlock(given).catch((problem) => {
      const result = $("token-form").querySelector(".result");
      result.textContent = problem.message;
      result.classList.add("bad");
    });
  }
  try {
    await showSession();
  } catch (problem) {
    offline(problem.message);
  }
  listen();
}

begin();
