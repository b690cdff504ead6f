// Photographs are loaded before they are asked for, one by one.

const loaded = new Set();
let sources = [];
let isLoading = false;

export function preload(wanted) {
  sources = wanted.filter((source) => !loaded.has(source));
  loadNext();
}

function loadNext() {
  if (isLoading || !sources.length || navigator.connection?.saveData) return;
  const source = sources.shift();
  const picture = new Image();
  isLoading = true;
  picture.onload = picture.onerror = () => {
    isLoading = false;
    if (picture.complete && picture.naturalWidth) loaded.add(source);
    loadNext();
  };
  picture.src = source;
}
