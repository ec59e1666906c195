// Package cause says why a furnace gets too hot: the causes that the burn so far speaks
// for, each with its weight and with the evidence as data. It changes when the account of
// what makes a wood fire run away does.
//
// The cause lies minutes before the alarm. The tracker therefore keeps the course of the
// readings over the last hour and a half, looks for the foot of the present rise, and asks
// what was going on there: was wood laid on, onto what bed; did the draft stand above what
// the appliance is made for; did the rise begin in the middle of a steady burn.
//
// Scores are log-odds against "nothing stands out", added up from features that have no
// scale of their own: temperatures as a share of the way from room to limit, draft in
// multiples of the specified band, rates against the same burn. A feature that cannot be
// measured adds nothing.
package cause
