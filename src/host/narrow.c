/* narrow.c: rewrites a program's source so that `long` has 32 bits, as on the chip.
 *
 *     narrow FILE > COPY
 *
 * On this machine `long` has 64 bits, and a difference across the roll-over of millis() kept in an
 * `unsigned long` comes out wrong. In the copy, line by line and column by column,
 *
 *     long, unsigned long, long int ...   become int, unsigned int, int ...
 *     long long, long double              stay
 *     1000UL, 5L                          become 1000U, 5
 *     "%ld", "%lu", "%lx" in strings      become "%d", "%u", "%x"
 *
 * Comments, characters, raw strings and #include lines stay. A #line in front names FILE, so that
 * messages and debug information point there. Not part of the firmware: a tool of the build.
 */
#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *text;
static size_t length;

/* The run of type words in hand: where its `long`s stand, and what else it holds. */
static struct {
    size_t at;
    int longs;
    bool other_int, has_double;
} run;

static bool is_word(char c)
{
    return isalnum((unsigned char)c) || c == '_';
}

static void blank(size_t from, size_t count, const char *by)
{
    size_t i, n = strlen(by);
    for (i = 0; i < count; i++) {
        text[from + i] = i < n ? by[i] : ' ';
    }
}

static void end_run(void)
{
    if (run.longs == 1 && !run.has_double) {
        blank(run.at, 4, run.other_int ? "" : "int");
    }
    memset(&run, 0, sizeof run);
}

static bool is(const char *word, size_t n, const char *name)
{
    return strlen(name) == n && memcmp(word, name, n) == 0;
}

/* A word either belongs to the run in hand or ends it. */
static void see_word(size_t at, size_t n)
{
    static const char *const part[] = {"unsigned", "signed", "const", "volatile", "static",
                                       "extern", "register", "inline", "constexpr", "mutable"};
    const char *word = text + at;
    size_t i;
    if (is(word, n, "long")) {
        run.at = at;
        run.longs++;
        return;
    }
    if (is(word, n, "int") || is(word, n, "short")) {
        run.other_int = true;
        return;
    }
    if (is(word, n, "double")) {
        run.has_double = true;
        return;
    }
    for (i = 0; i < sizeof part / sizeof *part; i++) {
        if (is(word, n, part[i])) {
            return;
        }
    }
    end_run();
}

/* 1000UL: the letters at the end, if they are of a whole number with exactly one L. */
static void see_number(size_t at, size_t n)
{
    size_t end = at + n, first = end, i, ells = 0, ell = 0;
    bool hex = n > 2 && text[at] == '0' && (text[at + 1] == 'x' || text[at + 1] == 'X');
    for (i = at; i < end; i++) {
        if (text[i] == '.' || (!hex && (text[i] == 'e' || text[i] == 'E'))) {
            return;
        }
    }
    while (first > at && strchr("uUlL", text[first - 1])) {
        first--;
        if (text[first] == 'l' || text[first] == 'L') {
            ells++;
            ell = first;
        }
    }
    if (ells == 1) {
        memmove(text + ell, text + ell + 1, end - ell - 1); /* the blank goes behind the suffix */
        text[end - 1] = ' ';
    }
}

/* %-05lu: flags, width, precision, then the l. What is left of the string moves up by one, and the
 * blank goes behind the closing quote. Returns the string's new end. */
static size_t see_format(size_t percent, size_t end)
{
    size_t i = percent + 1;
    while (i < end && strchr("-+ #0123456789.*", text[i])) {
        i++;
    }
    if (i + 1 < end && text[i] == 'l' && strchr("diuoxX", text[i + 1])) {
        memmove(text + i, text + i + 1, end - i);
        text[end] = ' ';
        return end - 1;
    }
    return end;
}

/* From the opening quote to behind the closing one. */
static size_t skip_quoted(size_t at, bool is_string)
{
    char quote = text[at];
    size_t i = at + 1, end;
    while (i < length && text[i] != quote && text[i] != '\n') {
        i += text[i] == '\\' ? 2 : 1;
    }
    if (i >= length) {
        return length;
    }
    end = i;
    for (i = at + 1; is_string && i < end; i++) {
        if (text[i] == '%' && i + 1 < end && text[i + 1] == '%') {
            i++;
        } else if (text[i] == '%') {
            end = see_format(i, end);
        }
    }
    return end + 1;
}

static size_t find(size_t from, const char *what)
{
    size_t n = strlen(what);
    while (from + n <= length && memcmp(text + from, what, n) != 0) {
        from++;
    }
    return from + n <= length ? from + n : length;
}

/* R"mark( ... )mark" */
static size_t skip_raw(size_t quote)
{
    char close[32] = ")";
    size_t n = 1, i = quote + 1;
    while (i < length && text[i] != '(' && n < 20) {
        close[n++] = text[i++];
    }
    close[n++] = '"';
    close[n] = 0;
    return find(i, close);
}

/* An #include keeps its name. Other directives are rewritten like the rest. */
static size_t see_directive(size_t at)
{
    size_t i = at + 1;
    end_run();
    while (i < length && (text[i] == ' ' || text[i] == '\t')) {
        i++;
    }
    return strncmp(text + i, "include", 7) == 0 ? find(i, "\n") : i;
}

static void narrow(void)
{
    size_t i = 0, start;
    bool line_start = true, directive = false;
    while (i < length) {
        char c = text[i];
        start = i;
        if (isspace((unsigned char)c)) {
            line_start = line_start || c == '\n';
            if (c == '\n' && directive && text[i - 1] != '\\') {
                end_run();
                directive = false;
            }
            i++;
            continue;
        }
        if (c == '/' && text[i + 1] == '/') {
            i = find(i, "\n") - 1;
        } else if (c == '/' && text[i + 1] == '*') {
            i = find(i + 2, "*/");
        } else if (c == '#' && line_start) {
            i = see_directive(i);
            directive = true;
        } else if (isdigit((unsigned char)c)) {
            while (i < length && (is_word(text[i]) || text[i] == '.' || text[i] == '\'')) {
                i++;
            }
            see_number(start, i - start);
            end_run();
        } else if (is_word(c)) {
            while (i < length && is_word(text[i])) {
                i++;
            }
            if (text[i] == '"' && text[i - 1] == 'R') {
                i = skip_raw(i);
            }
            see_word(start, i - start);
        } else {
            end_run();
            i = c == '"' || c == '\'' ? skip_quoted(i, c == '"') : i + 1;
        }
        i = i > start ? i : start + 1;
        line_start = false;
    }
    end_run();
}

static void put_line_directive(const char *path)
{
    printf("#line 1 \"");
    for (; *path; path++) {
        if (*path == '"' || *path == '\\') {
            putchar('\\');
        }
        putchar(*path);
    }
    printf("\"\n");
}

int main(int argc, char **argv)
{
    FILE *file = argc == 2 ? fopen(argv[1], "rb") : NULL;
    size_t room = 1 << 16, got;
    if (!file) {
        fprintf(stderr, "narrow: usage: narrow FILE > COPY, with a FILE that can be read\n");
        return 1;
    }
    text = malloc(room + 2);
    while (text && (got = fread(text + length, 1, room - length, file)) > 0) {
        length += got;
        if (length == room) {
            room *= 2;
            text = realloc(text, room + 2);
        }
    }
    if (!text || ferror(file)) {
        fprintf(stderr, "narrow: cannot read %s\n", argv[1]);
        return 1;
    }
    text[length] = text[length + 1] = 0;
    narrow();
    put_line_directive(argv[1]);
    return fwrite(text, 1, length, stdout) == length && fflush(stdout) == 0 ? 0 : 1;
}
