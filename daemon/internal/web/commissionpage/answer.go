package commissionpage

import (
	"errors"
	"io/fs"
	"net/http"
	"strconv"
	"strings"

	"fluewright/analysis/commissioning"
	"fluewright/daemon/internal/commission"
)

// maxForm is as much as a form here needs.
const maxForm = 16 << 10

// posted reads what was sent.
func posted(w http.ResponseWriter, r *http.Request) bool {
	r.Body = http.MaxBytesReader(w, r.Body, maxForm)
	if err := r.ParseForm(); err != nil {
		http.Error(w, "The form cannot be read.", http.StatusBadRequest)
		return false
	}
	return true
}

// back answers a form that was taken: loading again does nothing again.
func back(w http.ResponseWriter, r *http.Request, to string) {
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, to, http.StatusSeeOther)
}

// take takes an answer to what is asked.
func (p *Pages) take(w http.ResponseWriter, r *http.Request) {
	if !posted(w, r) {
		return
	}
	v, under := p.procedure()
	wrong := refused{reason: oneLine(r.PostFormValue("reason")), mark: strings.TrimSpace(r.PostFormValue("mark"))}
	if !under || r.PostFormValue("on") != on(&v) {
		p.show(w, r, http.StatusConflict, refused{words: words(&commissioning.Refusal{Code: commissioning.OutOfOrder})})
		return
	}
	e, ok := p.entry(r, &v, &wrong)
	if ok {
		e.Task = v.Task
		if e.Kind != commissioning.Repeat {
			e.Step = v.Now
		}
		err := p.o.Desk.Answer(*e)
		if err == nil {
			back(w, r, "/commissioning")
			return
		}
		var no *commissioning.Refusal
		if !errors.As(err, &no) {
			p.failed(w, r, err)
			return
		}
		wrong.words, wrong.look = words(no), no.Code == commissioning.FireNotSeen
	}
	p.show(w, r, http.StatusUnprocessableEntity, wrong)
}

// entry makes an entry of what was sent; false, with the reason in wrong, where it cannot be
// read.
func (p *Pages) entry(r *http.Request, v *commission.View, wrong *refused) (*commissioning.Entry, bool) {
	e := &commissioning.Entry{Kind: commissioning.Kind(r.PostFormValue("kind"))}
	switch e.Kind {
	case commissioning.Give:
		return p.filled(r, v, wrong)
	case commissioning.Skip:
		e.Reason = wrong.reason
	case commissioning.Repeat:
		n, err := strconv.ParseUint(r.PostFormValue("step"), 10, 8)
		if err != nil {
			wrong.words = words(&commissioning.Refusal{Code: commissioning.NotPossible})
			return nil, false
		}
		e.Step = commissioning.Step(n)
	case commissioning.Ready:
		e.Mark, e.Looked = v.Mark, r.PostFormValue("looked") != ""
		if wrong.mark != "" {
			m, err := strconv.ParseFloat(strings.Replace(wrong.mark, ",", ".", 1), 64)
			if err != nil {
				wrong.words = "Not taken: " + strconv.Quote(wrong.mark) + " is no mark."
				return nil, false
			}
			e.Mark = m
		}
	}
	return e, true
}

// filled makes an entry of a form.
func (p *Pages) filled(r *http.Request, v *commission.View, wrong *refused) (*commissioning.Entry, bool) {
	e, fields := commission.Forms(v.Task, p.o.Desk.Site(), p.o.Units)
	wrong.form, wrong.typed, wrong.wrong = true, map[string]string{}, map[string]string{}
	for i := range fields {
		f := &fields[i]
		typed := oneLine(r.PostFormValue(f.Key))
		wrong.typed[f.Key] = typed
		if !f.Asked() {
			continue
		}
		if err := f.Take(typed); err != nil {
			wrong.wrong[f.Key] = err.Error()
			if typed == "" {
				wrong.wrong[f.Key] = "not answered yet"
			}
		}
	}
	if n := len(wrong.wrong); n > 0 {
		wrong.words = "Not taken: " + strconv.Itoa(n) + " of the answers below cannot be read; each says why."
		if n == 1 {
			wrong.words = "Not taken: one of the answers below cannot be read; it says why."
		}
		return nil, false
	}
	return e, true
}

// oneLine makes one line of what was typed.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

func words(no *commissioning.Refusal) string { return "Not taken: " + commission.Refusal(no) }

// failed says that something could not be done, which is no fault of who asked.
func (p *Pages) failed(w http.ResponseWriter, r *http.Request, err error) {
	p.o.Errors.Error("cannot go on with the commissioning", "path", r.URL.Path, "error", err)
	p.show(w, r, http.StatusInternalServerError, refused{words: "It could not be kept on the disk. Load the page again to see how it stands. (" + err.Error() + ")"})
}

// begin begins a commissioning, or a season's start.
func (p *Pages) begin(w http.ResponseWriter, r *http.Request) {
	if !posted(w, r) {
		return
	}
	if p.o.Desk == nil {
		http.NotFound(w, r)
		return
	}
	if _, under := p.procedure(); under {
		back(w, r, "/commissioning") // somebody has begun it: here it is
		return
	}
	err := p.o.Desk.Begin(r.PostFormValue("season") != "")
	var broken *fs.PathError
	switch {
	case err == nil:
		back(w, r, "/commissioning")
	case errors.Is(err, fs.ErrNotExist) || !errors.As(err, &broken):
		p.show(w, r, http.StatusUnprocessableEntity, refused{words: "Not taken: " + err.Error() + "."})
	default:
		p.failed(w, r, err)
	}
}

// close ends what is under way, over or not, and leads to its report.
func (p *Pages) close(w http.ResponseWriter, r *http.Request) {
	if !posted(w, r) {
		return
	}
	v, under := p.procedure()
	if !under || r.PostFormValue("on") != on(&v) {
		p.show(w, r, http.StatusConflict, refused{words: words(&commissioning.Refusal{Code: commissioning.OutOfOrder})})
		return
	}
	record, err := p.o.Desk.Close()
	if err != nil {
		p.failed(w, r, err)
		return
	}
	p.mu.Lock()
	p.closed = record
	p.mu.Unlock()
	back(w, r, "/commissioning/reports/"+record.Number)
}
