"""One encrypted file with site, ledger and keys: made beside a running serve, checked, put back onto an empty folder.

    header      the first 64 bytes: version, how the passphrase becomes a key, whether the passphrase is right
    sealing     pure: bytes in, sealed chunks out, and back; a flipped byte, a cut, a swapped chunk is found
    passphrase  words to key (scrypt); the least that is taken
    archive     what lies inside: a gzipped tar of the site's folder, its manifest last
    manifest    what a backup says of itself
    gathering   which files of a site's folder belong to it, and what it cannot hold
    copying     the ledger whole and at one moment, while its controller goes on writing
    work        a folder of one's own for what lies open for a moment
    create verify restore        the three things that are done
    stamp       when the last backup was made, beside the ledger

The format (version 1), so that it can be opened without this program:

    0   8  "fieldbak"                       32  7  prefix of every nonce
    8   1  version                          39  1  zero
    9   3  scrypt: log2 of N, r, p          40 16  BLAKE2s of the derived bytes 32 to 63, person "fieldchk"
    12  4  bytes in a chunk, big-endian     56  8  BLAKE2s of the 56 bytes before, person "fieldbak"
    16 16  salt

The first hash tells a wrong passphrase, the second a damaged header. Then chunks, each ChaCha20-Poly1305 (RFC 8439)
under the first 32 of 64 bytes that scrypt (RFC 7914) makes of the passphrase (Unicode NFKC, UTF-8). Nonce: prefix,
number of the chunk in four bytes, 1 in the last chunk and 0 in all others, so that none can be left out, moved or
added; associated data: the whole header. This is the STREAM construction (Hoang, Reyhanitabar, Rogaway, Vizár 2015).
What comes out is gzip, and in it a tar: `site/…` and, last, `manifest.json`.
"""
