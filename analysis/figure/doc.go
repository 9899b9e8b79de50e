// Package figure holds what one measured quantity is: its value with an
// uncertainty, or the reason why there is none. It knows nothing of how a
// figure is measured and imports nothing of this project, so that every other
// package of analysis can state its results by it.
//
//  1. A step that measures returns a Figure made by Known or NotMeasured.
//  2. The step that knows the uncertainty writes it, once, to U.
//  3. Whoever shows or judges the figure asks Known first.
package figure
