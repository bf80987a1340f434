"use strict";
// Comfort only: everything works without it.
(function () {
  const pattern = /^[+-]?\d*,\d+$/;
  function told(input) {
    const line = document.querySelector('[data-read="' + CSS.escape(input.name) + '"]');
    if (!line) return;
    const text = input.value.trim();
    const unit = input.dataset.number.split(",")[0];
    line.textContent = pattern.test(text) ? text + " read as " + text.replace(",", ".") + " " + unit : "";
  }
  document.querySelectorAll("input[data-number]").forEach(function (input) {
    input.addEventListener("input", function () { told(input); });
  });
  const form = document.querySelector('form[action="/samples"]');
  if (form) {
    const button = form.querySelector("button.main");
    const label = button.textContent;
    form.addEventListener("submit", function (event) {
      if (form.dataset.sent) { event.preventDefault(); return; }
      form.dataset.sent = "yes";
      // After the browser has gathered the fields: a button that is off is not sent along.
      setTimeout(function () { button.disabled = true; button.textContent = "Being written..."; }, 0);
    });
    // Back from the answer, the form is there again as it was left, and can be sent again.
    window.addEventListener("pageshow", function () {
      delete form.dataset.sent;
      button.disabled = false;
      button.textContent = label;
    });
  }
})();
