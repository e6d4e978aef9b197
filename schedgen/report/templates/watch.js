"use strict";
(function () {
  const by = name => document.getElementById(name);
  const make = (tag, words, kind) => {
    const element = document.createElement(tag);
    if (words !== undefined && words !== null) element.textContent = words;
    if (kind) element.className = kind;
    return element;
  };
  let picture = null;
  let shown = -1;

  function link(item) {
    if (!item.line) return make("span", item.file);
    if (!item.here) return make("span", item.file + " line " + item.line);
    const anchor = make("a", "line " + item.line);
    anchor.href = "#L" + item.line;
    anchor.addEventListener("click", event => { event.preventDefault(); reveal(item.line); });
    return anchor;
  }

  function reveal(line) {
    const row = by("L" + line);
    if (!row) return;
    document.querySelectorAll(".source li.shown").forEach(one => one.classList.remove("shown"));
    row.classList.add("shown");
    row.tabIndex = -1;
    row.focus({ preventScroll: true });
    row.scrollIntoView({ block: "center" });
  }

  function problems(state) {
    by("broken").hidden = !state.problems.length;
    document.querySelector("main").classList.toggle("stale", state.problems.length > 0);
    by("kept").textContent = state.figure ? "Below stands what the last readable save gave, from " + state.good_at + "." : "No save could be read yet.";
    by("problems").replaceChildren(...state.problems.map(problem => {
      const item = make("li");
      item.append(link(problem), ": ", make("bdi", problem.message));
      for (const [label, key] of [["Expected", "expected"], ["Example", "example"], ["Next", "next"]])
        if (problem[key]) item.append(make("br"), label + ": ", make("bdi", problem[key]));
      return item;
    }));
  }

  function source(state) {
    const marked = new Set((state.problems.length ? state.problems : state.findings || []).filter(one => one.here).map(one => one.line));
    const list = by("source"), top = list.parentElement.scrollTop;
    list.replaceChildren(...state.source.map((text, index) => {
      const row = make("li", text || " ", marked.has(index + 1) ? "marked" : "");
      row.id = "L" + (index + 1);
      return row;
    }));
    list.parentElement.scrollTop = top;
  }

  function good(state) {
    by("title").textContent = state.name;
    document.title = (state.problems.length ? "unreadable" : state.verdict.toUpperCase()) + " " + (state.code || "") + " " + state.name;
    by("answers").replaceChildren(...state.answers.map(one => {
      const box = make("div", null, "answer " + one.key + (one.key === "verdict" ? (state.verdict === "go" ? " go" : " nogo") : ""));
      box.append(make("h2", one.question), make("p", one.answer, "big"), make("p", one.more, "more"));
      return box;
    }));
    by("limits").replaceChildren(...state.limits.map(([name, text]) => {
      const box = make("div");
      box.append(make("dt", name), make("dd", text));
      return box;
    }));
    by("findings").replaceChildren(...state.findings.map(one => {
      const item = make("li", null, one.severity);
      item.append(make("b", one.name), " (" + (one.accepted ? "accepted" : one.severity) + "), ", link(one), make("br"), make("bdi", one.message));
      const more = one.accepted ? "Accepted because: " + one.reason : one.fix;
      if (more) item.append(make("br"), make("bdi", more, one.accepted ? "" : "fix"));
      return item;
    }));
    if (!state.findings.length) by("findings").replaceChildren(make("li", "none"));
    if (!picture) picture = new DivePicture(by("explore"));
    picture.show(state.figure);
  }

  async function refresh() {
    const state = await (await fetch("/state", { cache: "no-store" })).json();
    if (state.version === 0 || state.version === shown) return;
    shown = state.version;
    problems(state);
    if (state.figure) good(state);
    source(state);
    by("status").textContent = state.problems.length
      ? "saved " + state.checked_at + ": cannot be read, " + state.problems.length + (state.problems.length === 1 ? " problem" : " problems")
      : "saved " + state.checked_at + ": " + state.verdict.toUpperCase() + ", dive code " + (state.code || "none");
    document.body.dataset.version = String(state.version);
  }

  const changes = new EventSource("/changes");
  changes.onmessage = refresh;
  changes.onerror = () => { by("status").textContent = "schedgen watch has ended, or cannot be reached: what stands here no longer changes"; shown = -1; };
  changes.onopen = refresh;
})();
