// What the code of a letter says after # never left the browser: it is put into the form, and
// taken off the address, where it would stay for whoever uses the browser next.

const said = new URLSearchParams(location.hash.slice(1));
for (const name of ["number", "code"]) {
  const field = document.querySelector(`form[data-printed-code] [name=${name}]`);
  if (field && said.get(name)) {
    field.value = said.get(name);
  }
}
if (said.has("code")) {
  history.replaceState(null, "", location.pathname + location.search);
  document.querySelector("form[data-printed-code] [name=password]")?.focus();
}
