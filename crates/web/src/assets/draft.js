// A formula as it is typed: its figures follow, its lines move without the page being loaded anew. Every way works without this.
{
  const typing = 350;
  let timer = 0;
  let asked = null;

  const body = (form, button) => {
    const fields = new URLSearchParams(new FormData(form));
    if (button) fields.append(button.name, button.value);
    return fields;
  };

  const parsed = async (answer) => new DOMParser().parseFromString(await answer.text(), "text/html");

  const follow = async (form) => {
    const place = form.querySelector("#figures");
    if (!place) return;
    if (asked) asked.abort();
    asked = new AbortController();
    place.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(form.dataset.figures, { method: "POST", body: body(form), signal: asked.signal });
      if (!answer.ok) throw new Error(String(answer.status));
      const fresh = await parsed(answer);
      for (const name of ["#figures", "#draft-summary"]) {
        const part = fresh.querySelector(name);
        if (part) form.querySelector(name).replaceWith(document.adoptNode(part));
      }
    } catch (error) {
      if (error.name === "AbortError") return;
      place.removeAttribute("aria-busy");
      const stale = place.querySelector(".stale");
      if (stale) stale.hidden = false;
    }
  };

  const suggest = async (form, field) => {
    const list = document.getElementById("draft-materials");
    if (!list || !form.dataset.suggest || field.value.trim().length < 2) return;
    try {
      const answer = await fetch(`${form.dataset.suggest}?q=${encodeURIComponent(field.value.trim())}`);
      if (answer.ok) list.replaceChildren(...(await parsed(answer)).querySelectorAll("option"));
    } catch {
      // Suggestions are a convenience; the code can be typed.
    }
  };

  document.addEventListener("input", (event) => {
    const form = event.target.closest("form.draft");
    if (!form) return;
    clearTimeout(timer);
    timer = setTimeout(() => follow(form), typing);
    if (event.target.name === "material") suggest(form, event.target);
  });

  // Buttons that save load the page; the others only give the sheet back, changed.
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    const button = event.submitter;
    if (!form.matches("form.draft") || !button || ["save", "over", "new"].includes(button.value)) return;
    event.preventDefault();
    clearTimeout(timer);
    if (button.value === "work-out") {
      follow(form);
      return;
    }
    try {
      const answer = await fetch(form.getAttribute("action"), { method: "POST", body: body(form, button) });
      const fresh = (await parsed(answer)).getElementById("draft");
      if (!fresh) throw new Error(String(answer.status));
      const again = button.value.replace(/-\d+$/, "");
      form.replaceWith(document.adoptNode(fresh));
      const start = document.querySelector("#draft [autofocus]");
      if (start) start.focus();
      if (start && (again === "up" || again === "down")) {
        const same = start.closest("li").querySelector(`button[value^="${again}-"]:not([disabled])`);
        if (same) same.focus();
      }
    } catch {
      const offline = document.getElementById("offline");
      if (offline) offline.hidden = false;
    }
  });
}
