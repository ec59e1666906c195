// Package parquet writes tables of one time column and columns of doubles as Apache Parquet,
// for analysts. It writes the little of the format that such a table needs: flat optional
// columns, PLAIN values, data pages of version 1, gzip. A library that writes all of it
// doubles the program.
//
// The format: https://github.com/apache/parquet-format, README.md and parquet.thrift
// (version 2.x); its metadata is Thrift's compact protocol.
package parquet
