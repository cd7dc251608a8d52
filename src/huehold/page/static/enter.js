// Exchanges the key in the address for a cookie, and takes the key out of the address.

const word = document.getElementById("word");
const ASK = "Open the address that the program printed in its window; it carries the key.";

async function enter() {
  const token = location.hash.slice(1);
  history.replaceState(null, "", location.pathname);
  if (!token) {
    word.textContent = ASK;
    return;
  }
  try {
    const answer = await fetch("/enter", { method: "POST", body: JSON.stringify({ token }) });
    const told = await answer.json().catch(() => ({}));
    if (answer.ok) location.replace(told.to);
    else word.textContent = told.error || ASK;
  } catch {
    word.textContent = "The program cannot be reached. Is it still running? Then load this page again.";
    history.replaceState(null, "", `${location.pathname}#${token}`);
  }
}

enter();
