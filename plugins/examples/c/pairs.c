/*
 * pairs.c - an importer in plain C: a first line that begins with #pairs, then lines of a station and a value.
 *
 * cc -std=c99 -shared -fPIC -I ../../../crates/abi/include -o pairs.so pairs.c
 * undim importer cases .
 */
#include <stdlib.h>
#include <string.h>
#include <undim_importer.h>

static int32_t probe(const uint8_t *start, size_t start_len, const char *file_name, size_t file_name_len)
{
    (void)file_name;
    (void)file_name_len;
    return start_len >= 6 && memcmp(start, "#pairs", 6) == 0 ? 100 : 0;
}

static int32_t say(const UndimHost *host, uint32_t kind, uint64_t line, uint32_t option, const char *text)
{
    UndimMessage message = {sizeof message, kind, line, 0, option, {0, 0}, {text, strlen(text)}};
    host->say(host->ctx, &message);
    return UNDIM_FAILED;
}

/* One line without its end: a station, a blank, a value. */
static int32_t read_line(const UndimHost *host, uint64_t number, char *line, size_t len)
{
    UndimRow row = {0};
    char *blank = memchr(line, ' ', len);
    char *end;
    if (blank == NULL)
        return say(host, UNDIM_SAY_FAILURE, number, UNDIM_NO_OPTION, "here a station and a value should stand");
    row.size = sizeof row;
    row.present = UNDIM_HAS_STATION;
    row.row = number;
    row.station.ptr = line;
    row.station.len = (size_t)(blank - line);
    row.value = strtod(blank + 1, &end);
    if (end == line + len && end > blank + 1)
        row.present |= UNDIM_HAS_VALUE;
    else
        say(host, UNDIM_SAY_PROBLEM, number, UNDIM_NO_OPTION, "this is no number");
    return host->push(host->ctx, &row, 1, sizeof row) == 0 ? UNDIM_DONE : UNDIM_FAILED;
}

static int32_t read_file(const UndimHost *host)
{
    char line[256];
    size_t len = 0;
    uint64_t number = 1;
    uint8_t byte;
    ptrdiff_t pulled;

    if (host->option_count > 0)
        return say(host, UNDIM_SAY_FAILURE, 0, 0, "this importer has no options");
    /* Byte by byte to be short; pull as much as you have room for. */
    while ((pulled = host->pull(host->ctx, &byte, 1)) > 0) {
        if (byte >= 0x80)
            return say(host, UNDIM_SAY_FAILURE, number, UNDIM_NO_OPTION, "here stands a byte that is no plain letter");
        if (byte != '\n' && len + 1 < sizeof line) {
            line[len++] = (char)byte;
        } else if (byte != '\n') {
            return say(host, UNDIM_SAY_FAILURE, number, UNDIM_NO_OPTION, "this line is longer than any should be");
        } else {
            line[len] = '\0';
            if (number > 1 && read_line(host, number, line, len) != UNDIM_DONE)
                return UNDIM_FAILED;
            number++;
            len = 0;
        }
    }
    if (pulled < 0)
        return say(host, UNDIM_SAY_FAILURE, 0, UNDIM_NO_OPTION, "the file could not be read to its end");
    line[len] = '\0';
    return len > 0 && number > 1 ? read_line(host, number, line, len) : UNDIM_DONE;
}

const UndimImporter undim_importer_v1 = {
    UNDIM_MAGIC,
    UNDIM_ABI_MAJOR,
    UNDIM_ABI_MINOR,
    sizeof(UndimImporter),
    0,
    UNDIM_TEXT("pairs-c"),
    UNDIM_TEXT("1.0"),
    UNDIM_TEXT("lines of a station and a value"),
    probe,
    read_file,
};
