package signal

// Nth returns the k-th smallest of x, counted from 0, and leaves x partitioned there:
// nothing before index k is larger, nothing behind it smaller. Hoare's selection; x
// holds no NaN.
func Nth(x []float64, k int) float64 {
	low, high := 0, len(x)-1
	for low < high {
		// The median of three keeps sorted and reversed windows linear.
		a, pivot, b := x[low], x[low+(high-low)/2], x[high]
		if pivot < min(a, b) {
			pivot = min(a, b)
		} else if pivot > max(a, b) {
			pivot = max(a, b)
		}
		i, j := low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return x[k]
		}
	}
	return x[k]
}

// median returns the median of x, which it reorders; of an even number the mean of the
// middle two. x is not empty and holds no NaN.
func median(x []float64) float64 {
	m := len(x) / 2
	upper := Nth(x, m)
	if len(x)%2 == 1 {
		return upper
	}
	lower := x[0]
	for _, v := range x[1:m] {
		lower = max(lower, v)
	}
	return (lower + upper) / 2
}
