package runner

// Cautions are shown wherever a person is about to energise something or reads what was. They are reminders
// and do not replace the rules of the place.
var Cautions = []string{
	"Never feed a supply into a fitted cell, and never charge a lithium primary cell: take the cell out first.",
	"Set a current limit that the unit can bear for hours, and keep energised, unattended equipment on a non-combustible surface, by the local rules of the place.",
	"Static discharge kills parts slowly: wear a strap while you touch the board.",
	"Freeze spray and hot air: cold and hot burns, flammable propellant. Wear gloves and glasses, ventilate, keep away from sparks, and switch the supply off first.",
	"A unit with a safety function (aircraft, medical, vehicle, alarm) goes back into service only through the licensed practice that governs it.",
}
