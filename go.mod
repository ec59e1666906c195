module fluewright

go 1.26.0

require periph.io/x/conn/v3 v3.7.3
