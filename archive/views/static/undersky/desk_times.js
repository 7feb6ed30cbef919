/* Times typed into a box, in milliseconds: the common form is read here, every other one by the server. */

/** Milliseconds of what is typed in a time box ("1:02:03.5", "62:03"), or null. The server reads every other form. */
export function typedMs(text) {
  const match = /^(?:(\d{1,3}):)?(\d{1,4}):([0-5]\d)(?:[.,](\d{1,3}))?$/.exec(text.trim());
  if (!match || (match[1] !== undefined && (match[2].length !== 2 || Number(match[2]) > 59))) return null;
  const whole_s = Number(match[1] || 0) * 3600 + Number(match[2]) * 60 + Number(match[3]);
  return whole_s * 1000 + Number((match[4] || "0").padEnd(3, "0"));
}

/** What the server reads: {start_ms, end_ms}, end_ms null where one moment is named; {words} where it is no time. */
export async function readTime(url, text, rate) {
  const asked = url + "?" + new URLSearchParams({ text, rate });
  const response = await fetch(asked, { headers: { Accept: "application/json" } }).catch(() => null);
  if (!response || !response.ok) return { words: "" };
  return response.json();
}

/** Says what is wrong over a box, as the page does when a form comes back; no words take it away. */
export function sayBeside(box, words) {
  const field = box.closest(".field");
  field.querySelector(".errorlist")?.remove();
  field.classList.toggle("with-error", words !== "");
  box.toggleAttribute("aria-invalid", false);
  if (words === "") return;
  const list = document.createElement("ul");
  list.className = "errorlist";
  list.id = box.id + "_error";
  list.setAttribute("role", "alert");
  const item = document.createElement("li");
  item.textContent = words;
  list.append(item);
  box.before(list);
  box.setAttribute("aria-invalid", "true");
}
