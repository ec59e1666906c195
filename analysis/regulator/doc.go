package regulator
