// @ts-check
/** Files to the program, one after the other, with the page's token. */

/** @returns {string} */
export function token() {
  return /** @type {HTMLMetaElement} */ (document.querySelector("meta[name=token]")).content;
}

/**
 * @param {string} address with its query, without the file's name
 * @param {File} file
 * @param {(share: number) => void} progress 0..1
 * @returns {Promise<any>} what the program answers; rejected with its words
 */
export function send(address, file, progress) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("PUT", `${address}&name=${encodeURIComponent(file.name)}`);
    request.setRequestHeader("x-token", token());
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.addEventListener("progress", (e) => progress(e.total ? e.loaded / e.total : 0));
    request.addEventListener("load", () => {
      if (request.status < 300) resolve(JSON.parse(request.responseText));
      else reject(new Error(words(request)));
    });
    request.addEventListener("error", () => reject(new Error(`${file.name}: the program does not answer`)));
    request.send(file);
  });
}

/** @param {XMLHttpRequest} request */
function words(request) {
  const page = new DOMParser().parseFromString(request.responseText, "text/html");
  return page.querySelector(".summary")?.textContent || request.responseText || "it was refused";
}
