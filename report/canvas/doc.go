// Package canvas draws the report's pictures: it knows their size, colours and
// type, and nothing of what is plotted.
//
//  1. A Drawing is a title and a footer around one or two panels of gonum/plot.
//  2. PNG paints it into a Raster, which is kept from picture to picture, with a
//     palette of 256 colours.
//  3. SVG writes it as a file of its own; Inline writes it as markup for the page,
//     a class per colour, so that the page's dark look can recolour it.
//
// All text passes Text, which makes it printable and shows a box for what the
// type has no glyph for.
package canvas
