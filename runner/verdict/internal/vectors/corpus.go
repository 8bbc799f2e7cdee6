package vectors

// Corpus makes every vector that has a closed form; those of circuits are made
// by ngspice from the decks beside them.
func Corpus() []Vector {
	var all []Vector
	for _, list := range [][]recipe{
		starts(), failures(), nasties(), lost(), witnesses(), fullRate(), fullRateNasties(),
	} {
		for _, r := range list {
			all = append(all, r.vector())
		}
	}
	return all
}

// entry is a recipe by its difference from another.
func (r recipe) entry(name, verdict, comment string, change func(*recipe)) recipe {
	r.name, r.verdict, r.comment = name, verdict, comment
	r.power.Clock = append([]Oscillation(nil), r.power.Clock...)
	change(&r)
	return r
}

func asIs(*recipe) {}
