// Forms that make something are sent once, however often the button is pressed.

for (const form of document.querySelectorAll("form[data-once]")) {
  const buttons = form.querySelectorAll("[type=submit]");
  form.addEventListener("submit", () => {
    // After the browser has read the form, since a disabled button is not sent with it.
    setTimeout(() =>
      buttons.forEach((button) => {
        button.disabled = true;
      }),
    );
  });
  window.addEventListener("pageshow", () =>
    buttons.forEach((button) => {
      button.disabled = false;
    }),
  );
}
