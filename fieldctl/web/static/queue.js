// Who searches after this group, kept on this phone: pairs that take the same drill one after the other.
const KEY = "fieldctl-queue";

function kept() {
  try {
    return JSON.parse(localStorage.getItem(KEY) ?? "{}");
  } catch {
    return {};
  }
}

export function queue(drill) {
  const found = kept();
  return found.drill === drill ? found.groups : [];
}

export function keepQueue(drill, groups) {
  localStorage.setItem(KEY, JSON.stringify({ drill, groups }));
}
