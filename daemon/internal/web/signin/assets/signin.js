"use strict";

// The code in the picture that the board shows comes behind a '#', which browsers send to
// nobody. It is taken from there, and out of the address.
const code = document.getElementById("code");
const take = () => {
  const given = /^#code=([A-Za-z0-9-]{1,40})$/.exec(location.hash);
  if (!code || !given) return;
  code.value = given[1];
  history.replaceState(null, "", location.pathname + location.search);
  document.getElementById("name").focus();
};
take();
addEventListener("hashchange", take); // the page was open already

for (const box of document.querySelectorAll("[data-shows]")) {
  box.closest(".show").hidden = false;
  const field = document.getElementById(box.dataset.shows);
  box.addEventListener("change", () => { field.type = box.checked ? "text" : "password"; });
  field.form.addEventListener("submit", () => { field.type = "password"; });
}
