// An answer on a screen grows old without changing its looks. Here a yes that was asked for some minutes ago no longer
// reads as one, and a page that the Back button took out of the browser's memory is asked for anew.

const OLD_MS = 5 * 60 * 1000;
const LOOK_MS = 5 * 1000;
const YES = ".stamp--may-go-out";
let asked = Date.now();

function tell() {
  const words = document.getElementById("old-answers");
  // A page about the past stays as it is: it says of which moment it is.
  if (!words || document.querySelector(".past") || !document.querySelector(YES)) return;
  for (const stamp of document.querySelectorAll(YES)) {
    stamp.classList.replace("stamp--may-go-out", "stamp--cannot-tell");
    stamp.querySelector(".stamp__words").textContent = words.dataset.stamp;
    stamp.querySelector(".stamp__time")?.remove();
  }
  if (document.getElementById("old")) return;
  document.querySelector("main h1").after(words.content.cloneNode(true));
}

// The clock may be set back meanwhile; that is no reason to take an answer for a young one.
const look = () => { if (Math.abs(Date.now() - asked) > OLD_MS) tell(); };

setInterval(look, LOOK_MS);
document.addEventListener("visibilitychange", look);
window.addEventListener("focus", look);
window.addEventListener("pageshow", (event) => { if (event.persisted && document.querySelector(YES)) location.reload(); });
document.addEventListener("htmx:afterSwap", (event) => {
  if (event.detail.target.id !== "gate-list") return;
  asked = Date.now();
  document.getElementById("old")?.remove();
});
