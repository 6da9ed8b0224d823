// A file chosen beside a text field is read into it by the browser: nothing is sent before the form is.

for (const input of document.querySelectorAll("input[type=file][data-into]")) {
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (file) document.getElementById(input.dataset.into).value = await file.text();
  });
}
