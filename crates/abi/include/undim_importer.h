/*
 * undim_importer.h - the contract between undim and an importer, version 1.0
 *
 * An importer turns the bytes of one file into readings of light. It is a dynamic library that exports
 * one constant, named undim_importer_v1. This file is the whole contract; plugins/README.md tells the same
 * in numbered sentences, with an example.
 *
 * Who calls whom
 *   undim loads the library in a process of its own, which has no network, can open no file but the
 *   library and the system's own libraries, and may start no thread or program. It calls probe once, and
 *   read at most once. Both are called from the same thread. The process ends after read; the library is
 *   never unloaded and no clean-up function is called.
 *
 * Text
 *   Pointer and length in bytes, UTF-8, no closing zero needed. A text that the importer hands over has to
 *   stay valid until the call that takes it returns; undim copies what it keeps. Texts that undim hands
 *   over stay valid until probe or read returns. A null pointer is fine where the length is 0.
 *
 * Growing
 *   Every struct but the text begins with its size. Later minor versions add fields at the end, never
 *   elsewhere: compare the size before using a field younger than the version you were written for. Bits
 *   and fields without a meaning yet are zero. A change that can't be made so is a new major version, with
 *   a new symbol; a library of an unknown major version is refused with both numbers.
 *
 * Layout
 *   The C layout of the platform. A test compiles this file and compares every size and offset.
 */
#ifndef UNDIM_IMPORTER_H
#define UNDIM_IMPORTER_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The bytes "UNDIMIMP", read as a big-endian number. */
#define UNDIM_MAGIC UINT64_C(0x554e44494d494d50)
#define UNDIM_ABI_MAJOR 1u
#define UNDIM_ABI_MINOR 0u

/* A text. It never grows. */
typedef struct UndimText {
    const char *ptr;
    size_t len;
} UndimText;

/* A text from a string literal, for initialisers. */
#define UNDIM_TEXT(literal) { (literal), sizeof(literal) - 1 }

/* ---- Options: what the keeper's layout says, flattened ------------------------------------------------ */

/* Kinds of option. The text of each is what the layout holds, without quotes. */
#define UNDIM_OPTION_TEXT 1u
#define UNDIM_OPTION_INTEGER 2u /* decimal digits, with a sign where negative */
#define UNDIM_OPTION_FLOAT 3u   /* with "." as the decimal point */
#define UNDIM_OPTION_BOOLEAN 4u /* "true" or "false" */
#define UNDIM_OPTION_DATE 5u    /* a date, a time of day, or both, as in RFC 3339 */
#define UNDIM_OPTION_EMPTY 6u   /* an empty list or table; the text is empty */

typedef struct UndimOption {
    uint32_t size;
    uint32_t kind;
    /* Keys and list positions (from 0) joined by dots: "columns.value.from", "missing.0". A key with other
     * characters than letters a-z and A-Z, digits, "-" and "_" stands in double quotes, in which \" means
     * a quote and \\ a backslash. */
    UndimText path;
    UndimText text;
} UndimOption;

/* ---- Rows: one row, one reading ----------------------------------------------------------------------- */

/* Bits of UndimRow.present: which fields hold something. The other fields are not looked at. */
#define UNDIM_HAS_VALUE (1u << 0)
#define UNDIM_HAS_UNIT (1u << 1)
#define UNDIM_HAS_X (1u << 2)
#define UNDIM_HAS_Y (1u << 3)
#define UNDIM_HAS_Z (1u << 4)
#define UNDIM_HAS_STATION (1u << 5)
#define UNDIM_HAS_DEVICE (1u << 6)
#define UNDIM_HAS_TILT (1u << 7)
#define UNDIM_HAS_TEMPERATURE (1u << 8)
#define UNDIM_HAS_REMARK (1u << 9)

/* Kinds of time. */
#define UNDIM_TIME_NONE 0u
#define UNDIM_TIME_INSTANT 1u /* microseconds since 1970-01-01T00:00:00Z */
#define UNDIM_TIME_WALL 2u    /* microseconds since 1970-01-01T00:00:00 on the same wall clock, no zone */

typedef struct UndimRow {
    uint32_t size;
    uint32_t present;
    uint64_t row;         /* line or record number in the file, from 1: where the record starts */
    int64_t time_us;      /* by time_kind; importers never resolve zones, undim does */
    uint32_t time_kind;
    uint32_t reserved;    /* zero */
    double value;         /* as the device gave it; leave the bit out for a missing value */
    double x;             /* as the file gives it: undim knows how the file's axes lie in the tank */
    double y;
    double z;
    double tilt_deg;      /* degrees from level */
    double temperature_c; /* degrees Celsius */
    UndimText unit;       /* of the value: a UCUM code, such as umol.m-2.s-1 */
    UndimText station;
    UndimText device;
    UndimText remark;
} UndimRow;

/* ---- Messages ----------------------------------------------------------------------------------------- */

/* Kinds of message. */
#define UNDIM_SAY_FOUND 1u    /* key, text: a fact that the file or the layout states */
#define UNDIM_SAY_ASSUMED 2u  /* key, text: a fact that neither states */
#define UNDIM_SAY_PROBLEM 3u  /* line, column, text: a place that could not be read; reading goes on */
#define UNDIM_SAY_QUESTION 4u /* text: what only the keeper can tell; then UNDIM_FAILED is returned */
#define UNDIM_SAY_CHOICE 5u   /* text: one answer to the question before it */
#define UNDIM_SAY_FAILURE 6u  /* line, column or option, text: why the file can't be used; then as above */

#define UNDIM_NO_OPTION UINT32_MAX

typedef struct UndimMessage {
    uint32_t size;
    uint32_t kind;
    uint64_t line;   /* line of the file, from 1; 0: the whole file */
    uint32_t column; /* field of the line, from 1; 0: the whole line */
    uint32_t option; /* position in UndimHost.options where a layout is at fault, else UNDIM_NO_OPTION */
    UndimText key;   /* of a fact: encoding, delimiter, quote, decimal, header_line, timezone, unit,
                      * unit.x, unit.y, unit.z, or columns.<name of a field of UndimRow> */
    UndimText text;
} UndimMessage;

/* ---- What undim lends to read ------------------------------------------------------------------------- */

typedef struct UndimHost {
    uint32_t size;
    uint32_t flags; /* zero */
    void *ctx;      /* handed back in each call below */

    /* The file's name without its folder; bytes that are no UTF-8 are replaced. */
    UndimText file_name;

    /* The options, option_stride bytes apart, in the layout's order. */
    const UndimOption *options;
    size_t option_count;
    size_t option_stride;

    /* Puts up to cap of the file's next bytes into buf. Returns how many; 0 at the end; below 0 where they
     * can't be read. */
    ptrdiff_t (*pull)(void *ctx, uint8_t *buf, size_t cap);

    /* Takes count rows, stride bytes apart. Nonzero: return from read now, with UNDIM_FAILED. */
    int32_t (*push)(void *ctx, const UndimRow *rows, size_t count, size_t stride);

    /* Takes one message. Nonzero: return from read now, with UNDIM_FAILED. */
    int32_t (*say)(void *ctx, const UndimMessage *message);
} UndimHost;

/* ---- What the library exports ------------------------------------------------------------------------- */

#define UNDIM_DONE 0
#define UNDIM_FAILED 1

typedef struct UndimImporter {
    uint64_t magic;
    uint32_t abi_major;
    uint32_t abi_minor;
    uint32_t size;
    uint32_t flags;    /* zero */
    UndimText name;    /* lower-case letters, digits and "-", 1 to 64: what a route's importer key names */
    UndimText version; /* of the importer, 1 to 64 bytes */
    UndimText reads;   /* what it reads, for people, up to 256 bytes */

    /* How surely it can read a file, from its first bytes (all of a file of up to 64 KiB, else the first
     * 64 KiB) and its name: 0 not at all, 100 beyond doubt. */
    int32_t (*probe)(const uint8_t *start, size_t start_len, const char *file_name, size_t file_name_len);

    /* Reads the file. UNDIM_DONE when every row has been pushed. */
    int32_t (*read)(const UndimHost *host);
} UndimImporter;

#if defined(_WIN32)
#define UNDIM_EXPORT __declspec(dllexport)
#else
#define UNDIM_EXPORT __attribute__((visibility("default")))
#endif

/* Defined by the importer. */
extern UNDIM_EXPORT const UndimImporter undim_importer_v1;

#ifdef __cplusplus
}
#endif

#endif
