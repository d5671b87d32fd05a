// Says with each form that is sent what this device's clock shows, so that the server knows how wrong it is.
"use strict";
document.addEventListener("formdata", (event) => {
  if (event.target.method === "post") event.formData.set("device_time", new Date().toISOString());
});
