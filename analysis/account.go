package analysis

import (
	"slices"

	"fluewright/analysis/alarm"
	"fluewright/analysis/cause"
)

// account brings the account of the i-th alarm up to date, while it stands, and reports
// whether it differs so much from what people were told that they should be told again.
// One of an alarm that does not stand is empty.
func (e *Engine) account(i int, standing bool) (differs bool) {
	key, a, v := e.conds[i].point.Key, &e.accounts[i], &e.view
	if !standing {
		*a = Account{}
		return false
	}
	switch key.Name {
	case alarm.Runaway:
		f := &v.forecasts[key.Channel]
		a.Passes, a.ExpectedAt = f.Passes, f.At
	case alarm.Spillage:
		a.ColdFlue = v.spill.Cold
	case alarm.RegulatorStuck:
		a.Gate = v.gate.State
	case alarm.MonitorImpaired:
		return e.worsened(i)
	case alarm.FlueRestricted:
		differs = v.way.Sudden && !a.Sudden
		a.Sudden = v.way.Sudden
	}
	if Explains(key.Name) {
		e.ranking = e.judges.causes.Rank(key, e.ranking[:0])
		if cause.Differ(a.Causes, e.ranking) {
			a.Causes, differs = slices.Clone(e.ranking), true
		}
	}
	return differs
}

// Explains reports whether an alarm is of the kind whose causes are looked for.
func Explains(name alarm.Name) bool {
	switch name {
	case alarm.Overheat, alarm.Runaway, alarm.ChimneyFire, alarm.PlenumOverheat, alarm.BlowerStopped:
		return true
	}
	return false
}
