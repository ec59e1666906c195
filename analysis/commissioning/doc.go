// Package commissioning is the installer's hour as a pure state machine: nine steps from an
// unknown chimney to a report, each with what is asked of the person, what is measured,
// what counts as settled and what the result means. It changes when the procedure or a
// judgement of it does.
//
// A State is data that JSON carries exactly. Step takes readings, Answer what a person
// enters; either gives the same results however often the state was written down and read
// back in between. Resume says that readings were missed: what was being measured begins
// anew, what was measured stays. What is wrong is refused with a Refusal and changes
// nothing.
//
// Findings are data with a code and numbers; their words and units are made elsewhere.
// Local code and the appliance's manual go before anything here. Nothing here actuates
// anything, and nobody is ever told to move, bypass or adjust the high limit control.
//
// Figures marked "practice" are common practice, no source. SI: Pa, °C, m, m², W, s.
package commissioning
