/* The map page: buttons of the list bring their place into view inside the map's frame. Without this script the
   list stands by itself, and the buttons are not shown. */

const frame = document.querySelector(".ground-frame iframe");

for (const button of document.querySelectorAll("[data-show-place]")) {
  button.parentElement.hidden = false;
  button.addEventListener("click", () => {
    frame.contentWindow.postMessage({ place: button.dataset.showPlace }, location.origin);
    frame.scrollIntoView({ block: "nearest" });
    frame.focus();
  });
}
