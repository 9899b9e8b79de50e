// Finds texts that are wider than their box, that stick out of the window without a
// box to scroll in, texts of a picture outside of its frame or too small to read, and
// on a telephone what scrolls sideways and is no table.
// What is folded away, or is a pixel large and only read aloud, is left out. The
// browser tests of both pages evaluate it.
(() => {
	const found = [], told = (what, e) => found.push(what + ': ' + (e.closest('[data-kind]')?.dataset.kind || e.tagName) + ': ' + e.textContent.trim().slice(0, 60));
	const paper = matchMedia('print').matches; // where nothing scrolls
	const scrolls = e => !paper && e && (['auto', 'scroll'].includes(getComputedStyle(e).overflowX) || scrolls(e.parentElement));
	const telephone = !paper && innerWidth <= 400;
	for (const e of document.querySelectorAll('body *')) {
		if (e.closest('svg') || !e.getClientRects().length || !e.checkVisibility()) continue;
		if (!e.textContent.trim() || e.closest('.skip, .hide, .live, script, option')) continue;
		const box = e.getBoundingClientRect(), style = getComputedStyle(e);
		if (box.width <= 1 && box.height <= 1) continue;
		if (style.display !== 'inline' && (paper || style.overflowX !== 'auto') && e.scrollWidth > e.clientWidth + 1) told('wider than its box', e);
		if (telephone && ['auto', 'scroll'].includes(style.overflowX) && e.scrollWidth > e.clientWidth + 1 && !e.querySelector('table')) told('scrolls sideways', e);
		if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
		if (box.right > innerWidth + 1 && !scrolls(e.parentElement)) told('beyond the window', e);
	}
	for (const svg of document.querySelectorAll('svg')) {
		const view = svg.viewBox.baseVal;
		if (!svg.getClientRects().length || !view.width) continue;
		const frame = svg.getBoundingClientRect(), slack = 1.5 * frame.width / view.width;
		for (const t of svg.querySelectorAll('text')) {
			const b = t.getBoundingClientRect();
			const size = parseFloat(getComputedStyle(t).fontSize) * frame.width / view.width;
			if (size < (telephone && svg.matches('.plot, .wiring') ? 10.5 : 7.7) && (paper || !svg.parentElement.matches('.fig[data-kind]'))) told('too small to read, ' + size.toFixed(1) + ' px', t); // those of a kind become plots of the page's own
			if (b.left < frame.left - slack || b.right > frame.right + slack || b.top < frame.top - slack || b.bottom > frame.bottom + slack) told('outside of its picture', t);
		}
	}
	return [...new Set(found)];
})()
