// Has the browser make a passkey, or show one, and puts what it says into a form's hidden field.

const toBytes = (text) =>
  Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) =>
    letter.charCodeAt(0),
  );
const toText = (buffer) =>
  btoa(String.fromCharCode(...new Uint8Array(buffer)))
    .replaceAll("+", "-")
    .replaceAll("/", "_")
    .replaceAll("=", "");

const withBytes = (credentials = []) =>
  credentials.map((credential) => ({ ...credential, id: toBytes(credential.id) }));

async function askFor(options, form) {
  const answer = await fetch(options, {
    method: "POST",
    headers: { "X-CSRFToken": form.elements.csrfmiddlewaretoken.value },
  });
  if (!answer.ok) throw new Error(`${options} answered ${answer.status}`);
  const { publicKey } = await answer.json();
  publicKey.challenge = toBytes(publicKey.challenge);
  return publicKey;
}

async function make(publicKey) {
  publicKey.user.id = toBytes(publicKey.user.id);
  publicKey.excludeCredentials = withBytes(publicKey.excludeCredentials);
  const { id, rawId, type, response } = await navigator.credentials.create({ publicKey });
  const { clientDataJSON, attestationObject } = response;
  return {
    id,
    rawId: toText(rawId),
    type,
    response: {
      clientDataJSON: toText(clientDataJSON),
      attestationObject: toText(attestationObject),
    },
  };
}

async function use(publicKey) {
  publicKey.allowCredentials = withBytes(publicKey.allowCredentials);
  const { id, rawId, type, response } = await navigator.credentials.get({ publicKey });
  const { clientDataJSON, authenticatorData, signature } = response;
  return {
    id,
    rawId: toText(rawId),
    type,
    response: {
      clientDataJSON: toText(clientDataJSON),
      authenticatorData: toText(authenticatorData),
      signature: toText(signature),
    },
  };
}

const ACTS = { make, use };

function prepare(place) {
  const { passkey, options, into, instead, done, failed } = place.dataset;
  const button = place.querySelector("button");
  const status = place.querySelector("[role=status]");
  const field = document.getElementById(into);
  const form = field.form;
  place.hidden = false;
  button.addEventListener("click", async () => {
    status.textContent = "";
    button.disabled = true;
    try {
      field.value = JSON.stringify(await ACTS[passkey](await askFor(options, form)));
    } catch (error) {
      // Whoever thinks better of it, or has no device at hand, tries again or types.
      console.warn(error);
      status.textContent = failed;
      return;
    } finally {
      button.disabled = false;
    }
    if (instead) document.getElementById(instead).required = false;
    if ("submits" in place.dataset) form.requestSubmit();
    else status.textContent = done;
  });
}

if (window.PublicKeyCredential) {
  for (const place of document.querySelectorAll("[data-passkey]")) prepare(place);
}
