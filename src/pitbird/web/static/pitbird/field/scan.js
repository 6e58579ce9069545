// The camera as a reader of printed codes. The decoder is loaded when it is first wanted.

const EVERY_MS = 120;
const WIDEST = 800;

/**
 * Show the camera in `video` and call `found` with each text that is read; stops itself after the first for which
 * `found` gives true. Gives a function that stops it. Throws where there is no camera or it is not allowed.
 */
export async function scan(video, found) {
  const { decodeQR } = await import("../vendor/qr/decode.js");
  const stream = await navigator.mediaDevices.getUserMedia({
    audio: false, video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 } },
  });
  let stopped = false;
  const stop = () => {
    stopped = true;
    stream.getTracks().forEach((track) => track.stop());
    video.srcObject = null;
  };
  video.srcObject = stream;
  await video.play();
  const canvas = document.createElement("canvas");
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  const look = () => {
    if (stopped) return;
    const text = video.videoWidth ? read(video, canvas, pen, decodeQR) : null;
    if (text !== null && found(text)) stop();
    else setTimeout(look, EVERY_MS);
  };
  look();
  return stop;
}

function read(video, canvas, pen, decodeQR) {
  const shrink = Math.min(1, WIDEST / video.videoWidth);
  canvas.width = Math.round(video.videoWidth * shrink);
  canvas.height = Math.round(video.videoHeight * shrink);
  pen.drawImage(video, 0, 0, canvas.width, canvas.height);
  try {
    return decodeQR(pen.getImageData(0, 0, canvas.width, canvas.height));
  } catch {
    return null; // no code in this picture
  }
}
