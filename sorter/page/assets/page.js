"use strict";
(() => {
  const find = (id) => document.getElementById(id);
  const every = (what, where = document) => [...where.querySelectorAll(what)];

  // ---- the sequences, as the page holds them ------------------------------------------------

  const held = new Map();
  const cellOf = (button) => (button.closest("[data-from]")?.dataset.from ?? "") + button.dataset.s;
  for (const part of every(".seq, .wall > li")) {
    const number = Number(part.id.slice(1));
    const strip = part.querySelector(".all") ?? part;
    held.set(number, {
      number, part, kind: part.classList[0], body: part.dataset.body ?? "0",
      get cells() { return every("button", strip).map(cellOf); },
      count: strip === part ? 1 : strip.childElementCount,
    });
  }
  const inOrder = [...held.values()].sort((one, two) => one.number - two.number);
  const previous = new Map();
  for (const each of inOrder) {
    each.before = previous.get(each.body) ?? null;
    if (each.before) each.before.after = each;
    previous.set(each.body, each);
  }
  const named = (one) => `${one.number}, ${one.kind.replace("-", " ")}`;

  // ---- filters ------------------------------------------------------------------------------

  const filters = find("filters");
  const numberIn = (mark) => Number(mark.getAttribute("href").slice(2));
  const marks = every(".line a");
  const filter = () => {
    const kinds = new Set(every("[name=kind]:checked", filters).map((box) => box.value));
    const only = find("only-looks").checked;
    let shown = 0;
    for (const one of held.values()) {
      one.shown = kinds.has(one.kind) && (!only || "look" in one.part.dataset);
      if (one.part.hidden === one.shown) one.part.hidden = !one.shown;
      shown += one.shown;
    }
    for (const mark of marks) {
      mark.classList.toggle("off", !held.get(numberIn(mark))?.shown);
    }
    find("shown").textContent = `${shown} of ${held.size} sequences are shown.`;
    if (reached?.matches(".off")) reach(0, 1);
  };

  // ---- the time line: one stop for the tab key, arrows from mark to mark ---------------------

  let reached = null;
  const reach = (from, step, focused = false) => {
    for (let place = from; place >= 0 && place < marks.length; place += step) {
      if (marks[place].matches(".off")) continue;
      reached?.setAttribute("tabindex", "-1");
      reached = marks[place];
      reached.setAttribute("tabindex", "0");
      if (focused) reached.focus();
      return;
    }
  };
  const line = document.querySelector(".line");
  line?.addEventListener("keydown", (event) => {
    const at = marks.indexOf(event.target);
    const to = {
      ArrowRight: [at + 1, 1], ArrowLeft: [at - 1, -1], Home: [0, 1], End: [marks.length - 1, -1],
    }[event.key];
    if (at < 0 || !to) return;
    event.preventDefault();
    reach(...to, true);
  });
  line?.addEventListener("focusin", (event) => {
    const at = marks.indexOf(event.target);
    if (at >= 0 && event.target !== reached) reach(at, 1);
  });
  filters.addEventListener("change", filter);
  filters.addEventListener("submit", (event) => event.preventDefault());
  const reveal = () => {
    const part = /^#s\d+$/.test(location.hash) && find(location.hash.slice(1));
    if (!part || !part.hidden) return;
    for (const box of every("[name=kind]", filters)) box.checked = true;
    find("only-looks").checked = false;
    filter();
    part.scrollIntoView();
  };
  addEventListener("hashchange", reveal);

  // ---- what to look at to refute a finding ----------------------------------------------------

  for (const place of every("[data-q]")) {
    const said = document.createElement("dd");
    for (const proof of place.dataset.q.split(",")) {
      const line = said.appendChild(document.createElement("p"));
      line.textContent = `${document.querySelector(`#asks [data-k=${proof[0]}]`).textContent} `;
      for (const position of proof.slice(1).split(" ")) {
        const button = line.appendChild(document.createElement("button"));
        Object.assign(button, { type: "button", textContent: `frame ${position}` });
        button.dataset.f = position;
        line.append(" ");
      }
    }
    const head = document.createElement("dt");
    head.textContent = "To refute it";
    place.append(head, said);
  }

  // ---- the large view -----------------------------------------------------------------------

  const view = find("view");
  const picture = find("view-picture");
  const positionOf = (button) => {  // in the strip of a sequence; 0 elsewhere
    const strip = button.closest(".all");
    return strip ? [...strip.children].indexOf(button.parentElement) + 1 : 0;
  };
  let row = [];
  let at = 0;
  const show = (place) => {
    at = Math.max(0, Math.min(row.length - 1, place));
    const button = row[at];
    const { s: cell, t: clock, d: focus, w: state, y: why } = button.dataset;
    const image = button.querySelector("img");
    const large = image?.getAttribute("src").replace("/small-", "/large-");
    const position = positionOf(button);
    picture.hidden = !large;
    find("view-blank").hidden = Boolean(large);
    find("view-blank").textContent = large ? "" : `No picture: it ${why}.`;
    const name = cell?.replace(/^.*\//, "") ?? image.alt;
    if (large) picture.src = large;
    picture.alt = name;
    find("view-where").textContent = `${at + 1} of ${row.length}`;
    const frame = position ? `frame ${position}` : "";
    find("view-said").textContent = [name, frame, clock, focus, state].filter(Boolean).join(" · ");
    find("view-before").disabled = at === 0;
    find("view-next").disabled = at === row.length - 1;
    find("view-split").hidden = !(position > 1);
    find("view-correct").hidden = !cell;
    find("view-status").textContent = "";
  };
  document.addEventListener("click", (event) => {
    const asked = event.target.closest("[data-f]");
    const shots = asked?.closest(".seq")?.querySelectorAll(".all button");
    const button = asked ? shots?.[asked.dataset.f - 1] : event.target.closest("[data-group] button");
    if (!button) return;
    let group = button.closest("[data-group]");
    let from = button;
    if (group.matches(".large")) {  // a best frame is looked at among all frames of its burst
      group = group.closest(".seq").querySelector(".all");
      from = group.children[button.parentElement.dataset.p - 1].firstElementChild;
    }
    row = every("button", group).filter((each) => !each.closest("[hidden]"));
    show(row.indexOf(from));
    view.showModal();
  });
  view.addEventListener("keydown", (event) => {
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: row.length - 1 }[event.key];
    if (to === undefined) return;
    event.preventDefault();
    show(to);
  });
  view.addEventListener("close", () => row[at]?.focus({ preventScroll: false }));
  find("view-before").addEventListener("click", () => show(at - 1));
  find("view-next").addEventListener("click", () => show(at + 1));
  find("view-close").addEventListener("click", () => view.close());
  view.addEventListener("click", (event) => { if (event.target === view) view.close(); });
  let began = null;
  const stage = view.querySelector("figure");
  stage.addEventListener("pointerdown", (event) => { began = [event.clientX, event.clientY]; });
  stage.addEventListener("pointerup", (event) => {
    if (!began) return;
    const [x, y] = [event.clientX - began[0], event.clientY - began[1]];
    began = null;
    if (Math.abs(x) > 40 && Math.abs(x) > 2 * Math.abs(y)) show(at + (x < 0 ? 1 : -1));
  });
  stage.addEventListener("pointercancel", () => { began = null; });
  picture.draggable = false;

  // ---- corrections --------------------------------------------------------------------------

  const asked = new Map();  // by the number of a sequence: { splits, join, kind, name }
  const place = `corrections ${document.documentElement.dataset.key}`;
  const askedOf = (number) => asked.get(number) ?? { splits: [], join: false, kind: "", name: "" };
  const isAny = (one) => one.splits.length > 0 || one.join || one.kind !== "" || one.name !== "";
  const keep = () => {
    try {
      sessionStorage.setItem(place, JSON.stringify([...asked]));
    } catch { /* they live as long as the page then */ }
  };
  const change = (number, more) => {
    const now = { ...askedOf(number), ...more };
    if (isAny(now)) asked.set(number, now);
    else asked.delete(number);
    keep();
    tell();
  };
  // RFC 4180; a name that a spreadsheet would compute gets an apostrophe, as in the manifest.
  const quoted = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const guarded = (text) => (/^'*[=+\-@\t\r\n]/.test(text) ? `'${text}` : text);
  const chain = (one) => {  // the sequences that become one with this one, in order
    let first = one;
    while (first.before && askedOf(first.number).join) first = first.before;
    const found = [first];
    for (let next = first.after; next && askedOf(next.number).join; next = next.after) found.push(next);
    return found;
  };
  const rowsOf = (one) => {
    const parts = chain(one);
    if (!parts.some((each) => isAny(askedOf(each.number)))) return [];
    const said = (what) => parts.map((each) => askedOf(each.number)[what]).find(Boolean) ?? "";
    const cells = parts.flatMap((each) => each.cells);
    let before = 0;
    const cuts = [0];
    for (const each of parts) {
      cuts.push(...askedOf(each.number).splits.map((position) => before + position - 1));
      before += each.count;
    }
    const starts = [...new Set(cuts)].sort((a, b) => a - b);
    return starts.map((start, index) => {
      const last = (starts[index + 1] ?? cells.length) - 1;
      return [cells[start], cells[last], said("kind"), guarded(said("name"))].map(quoted).join(",");
    });
  };
  const header = "first,last,kind,name";
  const whole = () => {
    const rows = inOrder.flatMap((one) => (chain(one)[0] === one ? rowsOf(one) : []));
    return rows.length ? [header, ...rows, ""].join("\r\n") : "";
  };
  const copy = async (text, area, status, said) => {
    let done = false;
    try {
      await navigator.clipboard.writeText(text);
      done = true;
    } catch {
      area.focus();
      area.select();
      done = document.execCommand("copy");
    }
    status.textContent = done ? said : "The browser does not let the page copy: select the text and copy it.";
  };
  const rows = find("rows");
  const tell = () => {
    const text = whole();
    rows.value = text;
    for (const id of ["copy-all", "save-all", "drop-all"]) find(id).disabled = !text;
    find("copied").textContent = "";
    if (mend.open) fill();
  };

  const mend = find("mend");
  let mended = null;
  const fill = () => {
    const now = askedOf(mended.number);
    find("mend-title").textContent = `Correct sequence ${named(mended)}`;
    const many = mended.count > 1;
    find("mend-at").disabled = find("mend-split").disabled = !many;
    find("mend-at").max = mended.count;
    find("mend-join").checked = now.join;
    find("mend-join").disabled = !mended.before;
    find("mend-join-words").textContent = mended.before
      ? `join with the one before (${named(mended.before)})` : "there is none before it to join with";
    find("mend-kind").value = now.kind;
    if (find("mend-name").value !== now.name) find("mend-name").value = now.name;
    find("mend-splits").textContent = now.splits.length ? `Split before frame ${now.splits.join(", ")}.` : "";
    find("mend-rows").value = rowsOf(mended).join("\r\n");
    find("mend-copy").disabled = find("mend-drop").disabled = !find("mend-rows").value;
  };
  const correct = (number, position) => {
    mended = held.get(number);
    find("mend-at").value = position > 1 ? position : "";
    find("mend-status").textContent = "";
    find("mend-name").value = askedOf(number).name;
    fill();
    mend.showModal();
  };
  const split = (number, position) => {
    const one = held.get(number);
    if (!Number.isInteger(position) || position < 2 || position > one.count) {
      return `Name a frame from 2 to ${one.count}.`;
    }
    const now = new Set(askedOf(number).splits).add(position);
    change(number, { splits: [...now].sort((a, b) => a - b) });
    return "";
  };
  const copyRows = (area, status) => {
    const text = rowsOf(mended).join("\r\n");
    return copy(text, area, status, "Copied, without the header line.");
  };
  const numberOf = (button) => Number(button.closest(".seq, .wall > li").id.slice(1));
  document.addEventListener("click", (event) => {
    const button = event.target.closest(".correct");
    if (button) correct(numberOf(button), 0);
  });
  find("view-correct").addEventListener("click", () => {
    const button = row[at];
    view.close();
    correct(numberOf(button), positionOf(button));
  });
  find("view-split").addEventListener("click", () => {
    const button = row[at];
    mended = held.get(numberOf(button));
    split(mended.number, positionOf(button));
    copy(rowsOf(mended).join("\r\n"), rows, find("view-status"), `Copied: a new sequence begins with frame ${positionOf(button)}.`);
  });
  find("mend-split").addEventListener("click", () => {
    const wrong = split(mended.number, find("mend-at").valueAsNumber);
    if (wrong) find("mend-status").textContent = wrong;
    else copyRows(find("mend-rows"), find("mend-status"));
  });
  find("mend-at").addEventListener("keydown", (event) => {
    if (event.key !== "Enter") return;
    event.preventDefault();
    find("mend-split").click();
  });
  find("mend-join").addEventListener("change", (event) => change(mended.number, { join: event.target.checked }));
  find("mend-kind").addEventListener("change", (event) => change(mended.number, { kind: event.target.value }));
  find("mend-name").addEventListener("input", (event) => change(mended.number, { name: event.target.value.trim() }));
  find("mend-copy").addEventListener("click", () => copyRows(find("mend-rows"), find("mend-status")));
  find("mend-drop").addEventListener("click", () => {
    for (const each of chain(mended)) asked.delete(each.number);
    find("mend-name").value = "";
    keep();
    tell();
  });
  find("copy-all").addEventListener("click", () => copy(whole(), rows, find("copied"), "Copied."));
  find("save-all").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([whole()], { type: "text/csv" }));
    link.download = "corrections.csv";
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  });
  find("drop-all").addEventListener("click", () => {
    asked.clear();
    keep();
    tell();
  });
  addEventListener("beforeprint", () => {
    for (const image of every("img")) image.loading = "eager";
  });

  try {
    for (const [number, one] of JSON.parse(sessionStorage.getItem(place) ?? "[]")) {
      if (held.has(number)) asked.set(number, one);
    }
  } catch { /* nothing was kept, or it cannot be read */ }
  if (marks.length) reach(0, 1);
  filter();
  reveal();
  tell();
  addEventListener("pageshow", () => {  // the browser may have filled fields in as they were
    filter();
    tell();
  });
})();
