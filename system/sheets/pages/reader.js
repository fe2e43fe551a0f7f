(() => {
  for (const figure of document.querySelectorAll("figure[data-read]")) {
    const read = JSON.parse(figure.dataset.read), svg = figure.querySelector("svg"), line = svg.querySelector(".cursor");
    const label = document.createElement("label"), slider = document.createElement("input"), told = document.createElement("span");
    slider.type = "range";
    slider.min = 0;
    slider.max = read.at.length - 1;
    label.append("Read at ", slider);
    told.className = "told";
    figure.append(label, told);
    const show = (i) => {
      const hertz = read.hertz[i] < 100 ? read.hertz[i].toFixed(1) : read.hertz[i].toFixed(0);
      const values = Object.entries(read.curves).map(([name, all]) => `${name} ${all[i] === null ? "-" : all[i].toFixed(1)}`);
      told.textContent = `${hertz} Hz: ${values.join(", ")} ${read.unit}`;
      slider.setAttribute("aria-valuetext", told.textContent);
      line.setAttribute("transform", `translate(${read.at[i]} 0)`);
      line.setAttribute("visibility", "visible");
    };
    const nearest = (x) => read.at.reduce((best, at, i) => (Math.abs(at - x) < Math.abs(read.at[best] - x) ? i : best), 0);
    slider.addEventListener("input", () => show(Number(slider.value)));
    svg.addEventListener("pointermove", (event) => {
      const x = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse()).x;
      slider.value = nearest(x);
      show(Number(slider.value));
    });
    slider.value = nearest(read.at[read.at.length - 1] / 2);
    show(Number(slider.value));
  }
})();
