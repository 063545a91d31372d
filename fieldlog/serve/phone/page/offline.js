// The page itself at hand without the network; never anything of the record. Only where the certificate is installed.

const SHELL = "fieldlog-page";
// The keeper lies beside the page: a worker's own file is asked for here only within our scope.
const FILES = ["/phone/", "/phone/keeper.js", ...["app", "door", "exif", "frames", "sending", "show", "store", "taker"]
  .map((name) => `/page/phone/${name}.js`), "/page/phone/phone.css", "/page/phone/icon.svg"];

oninstall = (event) => event.waitUntil(caches.open(SHELL).then((shell) => shell.addAll(FILES)));

onfetch = (event) => {
  const { pathname } = new URL(event.request.url);
  if (event.request.method !== "GET" || !FILES.includes(pathname)) return;
  event.respondWith((async () => {
    const shell = await caches.open(SHELL);
    try {
      const answer = await fetch(event.request);
      if (answer.ok) await shell.put(event.request, answer.clone());
      return answer;
    } catch (fault) {
      const known = await shell.match(event.request, { ignoreSearch: true });
      if (known) return known;
      throw fault;
    }
  })());
};
