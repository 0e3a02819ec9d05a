// On paper everything that is folded is open.

function watchPaper() {
  let opened = [];
  const open = () => {
    opened = [...document.querySelectorAll("main > section details:not([open])")].filter((one) => !one.closest("#viewer"));
    for (const one of opened) one.open = true;
  };
  const close = () => {
    for (const one of opened) one.open = false;
    opened = [];
  };
  window.addEventListener("beforeprint", open);
  window.addEventListener("afterprint", close);
}
