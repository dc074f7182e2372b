// Package path says what terrain and air take from a signal between two
// antennas: free space, one edge, and the Irregular Terrain Model of Longley and
// Rice as the United States' regulator uses it for television.
//
// It is arithmetic alone: no files, no places, no stations.
//
// The model is written from its published algorithm:
//
//   - G. A. Hufford, The ITS Irregular Terrain Model, version 1.2.2: the
//     algorithm (1995), below "Hufford"; the clauses named are its sections;
//   - G. A. Hufford, A. G. Longley, W. A. Kissick, A guide to the use of the ITS
//     Irregular Terrain Model in the area prediction mode, NTIA Report 82-100
//     (1982).
package path
