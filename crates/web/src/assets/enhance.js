// Spares keystrokes; every page works without it.
"use strict";

// A scanner types the lot number and Enter: go on to the weight instead of sending a form that is half filled in.
for (const form of document.querySelectorAll("form.weigh")) {
  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || !(event.target instanceof HTMLInputElement)) return;
    const next = [...form.querySelectorAll("input:not([type=hidden])")].find(
      (field) => field !== event.target && field.value.trim() === "" && (field.required || field.name === "amount"),
    );
    if (next) {
      event.preventDefault();
      next.focus();
    }
  });
}

// The mark of the tolerance band follows the weight while it is typed. For the eye only: the server decides.
for (const place of document.querySelectorAll(".tolerance")) {
  const field = document.querySelector("form.weigh input[name=amount]");
  const unit = document.querySelector("form.weigh input[name=unit]");
  const band = place.querySelector(".band");
  const mark = place.querySelector(".now");
  if (!field || !unit || !band || !mark) continue;
  const { target, margin, weighed } = place.dataset;
  const move = () => {
    const typed = Number.parseFloat(field.value);
    if (!Number.isFinite(typed)) return;
    const written = field.value.replace(/^[\s\d.+-]+/, "").trim() || unit.value;
    const factor = { kg: 1, g: 0.001, mg: 0.000001 }[written];
    if (factor === undefined) return;
    const off = Number(weighed) + typed * factor - Number(target);
    const x = Math.max(10, Math.min(590, 300 + (off / (4 * Number(margin))) * 300));
    mark.setAttribute("transform", `translate(${Math.round(x)} 16)`);
    band.classList.toggle("out", Math.abs(off) > Number(margin));
  };
  field.addEventListener("input", move);
}

// One tap sends once, and nothing is sent into a dead line: what was typed stays.
for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", (event) => {
    if (event.submitter && /^(work-out|add|remove|up|down|right)/.test(event.submitter.value)) return;
    const offline = document.getElementById("offline");
    if (!navigator.onLine && offline) {
      event.preventDefault();
      offline.hidden = false;
      return;
    }
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
    setTimeout(() => delete form.dataset.sent, 5000);
  });
}
window.addEventListener("online", () => {
  const offline = document.getElementById("offline");
  if (offline) offline.hidden = true;
});

// Dropping a sentence of a what-if.
for (const button of document.querySelectorAll(".drop-row")) {
  const row = button.closest("li");
  const what = row && row.querySelector("[name=what]");
  if (!what || what.value === "") continue;
  button.hidden = false;
  button.addEventListener("click", () => {
    row.remove();
  });
}

// Sentences left blank need not travel in the address.
for (const form of document.querySelectorAll("form.scenario")) {
  form.addEventListener("submit", () => {
    for (const row of form.querySelectorAll(".sentences li")) {
      const what = row.querySelector("[name=what]");
      if (what && what.value.trim() === "") for (const field of row.querySelectorAll("[name]")) field.disabled = true;
    }
  });
}
