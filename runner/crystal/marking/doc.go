// Package marking reads the few characters that are printed on resistors and
// capacitors, and knows the values that parts are made in.
//
// A marking seldom says which kind of part it is on, and some have two readings
// for the same kind. Read returns every reading there is: which one holds is for
// the person with the part in hand to see, or to measure.
//
// Markings are those of IEC 60062 (digit codes, letters in place of the decimal
// point, tolerance letters) and of EIA-198 (capacitors, in picofarads), and the
// EIA-96 code of small 1 % resistors. Preferred values are those of IEC 60063.
package marking
