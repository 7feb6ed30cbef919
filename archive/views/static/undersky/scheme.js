/* Colours of the page: day, night or red night, kept in the cookie "scheme" for a year.
   Loaded at the top of <head> before anything is painted, so that the page never flashes in another scheme.
   Without it (or without a cookie) the page follows the system; a page served with the cookie is
   right already. */
(function () {
  "use strict";
  const SCHEMES = ["day", "night", "red"];
  const YEAR_S = 31536000;

  function keptScheme() {
    const found = document.cookie.match(/(?:^|;\s*)scheme=(\w+)/);
    return found && SCHEMES.includes(found[1]) ? found[1] : "";
  }

  function wear(scheme) {
    if (scheme) {
      document.documentElement.setAttribute("data-scheme", scheme);
    } else {
      document.documentElement.removeAttribute("data-scheme");
    }
  }

  function keep(scheme) {
    const safe = location.protocol === "https:" ? "; Secure" : "";
    document.cookie = "scheme=" + scheme + "; Path=/; Max-Age=" + YEAR_S + "; SameSite=Lax" + safe;
  }

  function systemScheme() {
    return window.matchMedia("(prefers-color-scheme: dark)").matches ? "night" : "day";
  }

  function wireControl() {
    const control = document.querySelector("[data-scheme-control]");
    if (!control) return;
    const now = keptScheme() || systemScheme();
    control.querySelectorAll("input").forEach(function (input) {
      input.checked = input.value === now;
      input.addEventListener("change", function () {
        keep(input.value);
        wear(input.value);
      });
    });
    control.hidden = false;
  }

  wear(keptScheme());
  document.addEventListener("DOMContentLoaded", wireControl);
  window.addEventListener("pageshow", function (event) {
    if (event.persisted) {
      wear(keptScheme());
      wireControl();
    }
  });
})();
