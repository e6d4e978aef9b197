"use strict";
(function () {
  const holder = document.getElementById("explore");
  const data = JSON.parse(document.getElementById("dive-data").textContent);
  document.documentElement.classList.add("js");
  holder.hidden = false;
  new DivePicture(holder).show(data);
})();
