// What makes the page quicker, and loses nothing that was typed. Every form and link works without.
"use strict";

const main = () => document.getElementById("main");
const running = () => document.querySelector("[data-running]");
const place = (form) => `${location.pathname} ${form.dataset.kept}`;

// What was typed and not sent yet is still there after a reload.
function keep(form) {
  const typed = [...form.querySelectorAll("input:not([type]), input[type=date], select")];
  const before = JSON.parse(sessionStorage.getItem(place(form)) || "{}");
  for (const field of typed) {
    if (before[field.name] !== undefined) field.value = before[field.name];
  }
  form.addEventListener("input", () => {
    const now = Object.fromEntries(typed.map((field) => [field.name, field.value]));
    sessionStorage.setItem(place(form), JSON.stringify(now));
  });
}

function ready() {
  document.querySelectorAll("form[data-kept]").forEach(keep);
  if (running()) setTimeout(() => show(location.href), 1000);
}

function put(text, address) {
  const came = new DOMParser().parseFromString(text, "text/html");
  document.querySelector("main").replaceWith(came.querySelector("main"));
  const views = came.querySelector("nav.views"), here = document.querySelector("nav.views");
  if (views && here) here.replaceWith(views);
  document.title = came.title;
  if (address && address !== location.href) history.pushState(null, "", address);
  ready();
  (main().querySelector("[autofocus]") || main()).focus({ preventScroll: true });
}

async function show(address) {
  try {
    const answer = await fetch(address);
    if (running()) put(await answer.text());
  } catch {
    setTimeout(() => show(address), 3000);
  }
}

function unanswered(form) {
  let said = form.querySelector(".problem");
  if (!said) {
    said = document.createElement("p");
    said.className = "problem";
    said.setAttribute("role", "alert");
    form.prepend(said);
  }
  said.textContent =
    "The page does not answer; it may have been closed. What you entered is still here: start it "
    + "again, open the new link in this tab, and it is in its field.";
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.method !== "post" || form.dataset.plain !== undefined || event.defaultPrevented) return;
  event.preventDefault();
  const filled = new FormData(form, event.submitter);
  const files = form.enctype === "multipart/form-data";
  const address = form.getAttribute("action") || location.href;
  form.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(address, {
      method: "POST", body: files ? filled : new URLSearchParams(filled),
    });
    const text = await answer.text();
    if (answer.redirected && form.dataset.kept) sessionStorage.removeItem(place(form));
    put(text, answer.redirected ? answer.url : "");
    window.scrollTo(0, 0);
  } catch {
    unanswered(form);
  } finally {
    form.removeAttribute("aria-busy");
  }
});

window.addEventListener("popstate", () => location.reload());
ready();
