// A weighing that cannot be sent waits in the browser under its request key and is sent until it is answered: it happens once,
// however often it is sent. What is typed but not entered outlives a reload. Without this, the form is sent as any other.
{
  const WAITING = "stillroom-waiting";
  const TYPED = "stillroom-typed";
  const again = 3000;
  const form = document.querySelector("form.weigh");
  const place = document.getElementById("waiting");

  const kept = () => {
    try {
      return JSON.parse(localStorage.getItem(WAITING)) ?? [];
    } catch {
      return [];
    }
  };
  const keep = (list) => {
    if (list.length > 0) localStorage.setItem(WAITING, JSON.stringify(list));
    else localStorage.removeItem(WAITING);
    show();
  };
  const show = () => {
    if (!place) return;
    const list = kept();
    place.hidden = list.length === 0;
    place.querySelector("ul").replaceChildren(
      ...list.map((one) => {
        const line = document.createElement("li");
        line.textContent = one.said;
        return line;
      }),
    );
  };

  // The page's token is of the moment: it is not kept with the weighing, and asked for anew when the server has begun anew.
  const token = async (one, fresh) => {
    const here = document.querySelector("input[name=page_token]");
    if (here && !fresh) return here.value;
    const answer = await fetch(one.page);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    return page.querySelector("input[name=page_token]")?.value ?? "";
  };
  const post = async (one, fresh) => {
    const body = new URLSearchParams(one.fields);
    body.append("page_token", await token(one, fresh));
    return fetch(one.action, { method: "POST", body });
  };

  let sending = false;
  const send = async () => {
    if (sending) return;
    sending = true;
    let led = null;
    try {
      while (kept().length > 0) {
        const one = kept()[0];
        let answer = await post(one, false);
        if (answer.status === 403) answer = await post(one, true);
        // Nobody is signed in: it waits until somebody is.
        if (answer.status === 401) return;
        if (answer.status >= 500) throw new Error(String(answer.status));
        keep(kept().filter((other) => other.key !== one.key));
        sessionStorage.removeItem(TYPED);
        if (!answer.ok) {
          // Refused: nothing was changed. The page with the reason is the answer to the form sent once more.
          if (form && form.elements.request_key.value === one.key) form.submit();
          else led = one.page;
          return;
        }
        led = answer.url;
      }
    } catch {
      setTimeout(send, again);
    } finally {
      sending = false;
    }
    if (led && form) location.assign(led);
  };

  if (form) {
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      event.stopImmediatePropagation();
      const fields = [...new FormData(form)].filter(([name]) => name !== "page_token");
      const key = form.elements.request_key.value;
      const said = [...form.querySelectorAll("input:not([type=hidden])")].map((field) => field.value.trim()).filter(Boolean).join(" · ");
      if (!kept().some((one) => one.key === key)) {
        const title = document.getElementById("now")?.textContent ?? "";
        keep([...kept(), { key, fields, action: form.getAttribute("action"), page: location.pathname, said: `${title}: ${said}` }]);
      }
      send();
    });

    // What was typed before a reload, of this very weighing.
    const of = `${location.pathname}#${form.elements.line.value}`;
    const typed = ["lot", "amount", "checkedBy"];
    try {
      const before = JSON.parse(sessionStorage.getItem(TYPED));
      if (before && before.of === of) {
        for (const name of typed) {
          const field = form.elements[name];
          if (field && field.value === "" && before[name]) field.value = before[name];
        }
        form.elements.request_key.value = before.key;
        form.elements.amount.dispatchEvent(new Event("input", { bubbles: true }));
        const next = typed.map((name) => form.elements[name]).find((field) => field && field.value === "");
        if (next && next.required) next.focus();
      } else {
        sessionStorage.removeItem(TYPED);
      }
    } catch {
      sessionStorage.removeItem(TYPED);
    }
    form.addEventListener("input", () => {
      const now = { of, key: form.elements.request_key.value };
      for (const name of typed) now[name] = form.elements[name]?.value ?? "";
      sessionStorage.setItem(TYPED, JSON.stringify(now));
    });

    // A lot is chosen by a tap.
    for (const button of document.querySelectorAll("button[data-lot]")) {
      button.hidden = false;
      button.addEventListener("click", () => {
        form.elements.lot.value = button.dataset.lot;
        form.elements.lot.dispatchEvent(new Event("input", { bubbles: true }));
        form.elements.amount.focus();
      });
    }
  }

  addEventListener("online", send);
  show();
  if (kept().length > 0) send();
}
