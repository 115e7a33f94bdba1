"use strict";

// The API's description as a page to try. All of it is asked of this server, and nothing of any other.
const page = document.getElementById("api");
const darkness = matchMedia("(prefers-color-scheme: dark)");

function paint() {
  document.documentElement.classList.toggle("dark-mode", darkness.matches);
}

// A person who is signed in changes records only with the page's own proof, as with any form.
function sign(request) {
  if (!["GET", "HEAD"].includes((request.method || "GET").toUpperCase())) {
    request.headers["X-CSRFToken"] = page.dataset.csrf;
  }
  return request;
}

paint();
darkness.addEventListener("change", paint);
SwaggerUIBundle({
  domNode: page,
  url: page.dataset.description,
  requestInterceptor: sign,
  deepLinking: true,
  docExpansion: "none",
  defaultModelsExpandDepth: -1,
  displayRequestDuration: true,
  filter: true,
  validatorUrl: null,
});
