// Makes or uses a passkey, and sends what the browser answers with the form around it.
// <form data-passkey="get" data-options-url="…"> asks the server for a challenge when pressed;
// <form data-passkey="create" data-options="id"> has it in the page as JSON.

function toBytes(text) {
  const base64 = text.replace(/-/g, "+").replace(/_/g, "/");
  return Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
}

function toText(buffer) {
  const letters = Array.from(new Uint8Array(buffer), (byte) => String.fromCharCode(byte));
  return btoa(letters.join("")).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}

function withBytes(options) {
  const asked = { ...options, challenge: toBytes(options.challenge) };
  const identified = (list) => list.map((item) => ({ ...item, id: toBytes(item.id) }));
  if (options.user) asked.user = { ...options.user, id: toBytes(options.user.id) };
  if (options.excludeCredentials) {
    asked.excludeCredentials = identified(options.excludeCredentials);
  }
  if (options.allowCredentials) asked.allowCredentials = identified(options.allowCredentials);
  return asked;
}

function answered(credential) {
  const response = {};
  for (const name of [
    "clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle",
  ]) {
    const value = credential.response[name];
    if (value) response[name] = toText(value);
  }
  return {
    id: credential.id,
    rawId: toText(credential.rawId),
    type: credential.type,
    response,
    authenticatorAttachment: credential.authenticatorAttachment,
    clientExtensionResults: credential.getClientExtensionResults(),
  };
}

async function optionsOf(form) {
  if (form.dataset.options) {
    return JSON.parse(document.getElementById(form.dataset.options).textContent).publicKey;
  }
  const reply = await fetch(form.dataset.optionsUrl, { headers: { Accept: "application/json" } });
  if (!reply.ok) throw new Error(`no challenge: ${reply.status}`);
  return (await reply.json()).publicKey;
}

async function send(form) {
  const publicKey = withBytes(await optionsOf(form));
  const credential = await navigator.credentials[form.dataset.passkey]({ publicKey });
  form.elements.credential.value = JSON.stringify(answered(credential));
  form.submit();
}

function start(form) {
  const trouble = form.querySelector("[data-passkey-error]");
  let isAsking = false; // the browser asks for one passkey at a time, and refuses a second question
  form.hidden = false;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (isAsking) return;
    isAsking = true;
    trouble.textContent = "";
    try {
      await send(form);
    } catch {
      // The person said no, or the browser could not: both are told the same way by browsers.
      trouble.textContent = trouble.dataset.passkeyError;
    } finally {
      isAsking = false;
    }
  });
}

if (window.PublicKeyCredential) {
  for (const form of document.querySelectorAll("form[data-passkey]")) start(form);
}
