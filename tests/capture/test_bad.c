#include "capture_test.h"
#include <dirent.h>

/*
 * Every file of tests/data/bad/captures has the one defect it is named for. It must be refused with one message that says where and what,
 * and what to do. The message is compared as a whole: who changes one reads the others beside it.
 */
typedef struct bad_file {
  const char *name;
  int64_t line, column; /* from 1, 0: none */
  int64_t byte;         /* -1: none */
  const char *message;
} bad_file;

static const bad_file files[] = {
    {"archive.zip", 0, 0, 0,
     "this is a ZIP archive or a spreadsheet; unpack it, or export the table as delimited text"},
    {"comma-ambiguous.csv", 1, 0, -1,
     "the comma may be the decimal mark or stand between columns; export with semicolons or with a decimal point"},
    {"comma-separates-and-marks.csv", 1, 0, -1,
     "the comma may be the decimal mark or stand between columns; export with semicolons or with a decimal point"},
    {"comma-thousands-or-thousandths.csv", 2, 0, -1,
     "a number such as 1,234 may have a decimal comma or a mark between thousands; export with a decimal point"},
    {"compressed.gz", 0, 0, 0, "this is a compressed file; unpack it first"},
    {"comtrade-analog-line-too-short.cff", 4, 0, -1,
     "an analog channel has at least 10 fields, this line has 6; export the file again"},
    {"comtrade-binary-cut.cff", 0, 0, 268,
     "the data is cut off: 36 bytes are promised, 30 are there; copy or export the file again"},
    {"comtrade-channels-do-not-add-up.cff", 3, 1, -1,
     "3 channels, but 1 analog and 1 status ones; correct the line or export the file again"},
    {"comtrade-count-without-letter.cff", 3, 3, -1,
     "'1' is not a number of analog channels such as 4A; correct it or export the file again"},
    {"comtrade-date-in-words.cff", 9, 1, -1,
     "'yesterday' is not a date such as 31/01/2025; correct it or export the file again"},
    {"comtrade-kind-unknown.cff", 11, 1, -1,
     "'OCTAL' is not a kind of data: ASCII, BINARY, BINARY32 or FLOAT32; correct it or export the file again"},
    {"comtrade-multiplier-in-words.cff", 4, 15, -1,
     "'ten' is not a multiplier; correct it or export the file again"},
    {"comtrade-multiplier-nought.cff", 4, 15, -1,
     "'0' is not a multiplier other than nought; correct it or export the file again"},
    {"comtrade-no-data-section.cff", 0, 0, 202,
     "the combined file has no DAT section; copy or export it again"},
    {"comtrade-rate-below-nought.cff", 8, 1, -1,
     "'-1000' is not a sample rate above nought; correct it or export the file again"},
    {"comtrade-rate-changes.cff", 9, 1, -1,
     "the sample rate changes from 1000 to 500 Hz within the recording; export the parts one by one"},
    {"comtrade-row-missing.cff", 18, 0, -1,
     "the data ends after 2 of 3 rows; copy or export the file again"},
    {"comtrade-row-too-short.cff", 17, 11, -1,
     "a row has 4 columns for these channels, this one has fewer; correct it or export the file again"},
    {"comtrade-status-of-two.cff", 17, 12, -1,
     "a status channel is 0 or 1, not 2; correct it or export the file again"},
    {"comtrade-text-in-number.cff", 17, 8, -1,
     "column 3 of this row is not a number; correct the cell or leave it empty"},
    {"comtrade-without-its-data.cfg", 0, 0, -1,
     "the data of this COMTRADE recording is not beside it; copy the .dat file of the same name too"},
    {"comtrade-year-of-no-standard.cff", 2, 16, -1,
     "'2005' is not a year of the standard: 1991, 1999 or 2013; correct it or export the file again"},
    {"control-character-in-a-row.csv", 0, 0, 17,
     "not a recording this program reads; export it as delimited text, WAVE or .npy"},
    {"date-changes-without-midnight.csv", 3, 1, -1,
     "the date changes from 2026-01-30 to 2026-01-31 and no midnight lies between; split the file there"},
    {"decimal-comma-in-one-row.csv", 2, 7, -1,
     "'2,5' has a decimal comma, other numbers a decimal point; export with one of them"},
    {"decimal-point-in-one-row.csv", 2, 7, -1,
     "'2.5' has a decimal point, other numbers a decimal comma; export with one of them"},
    {"edges-too-far-apart.csv", 2, 0, -1,
     "the shortest state lasts 1e-09 of 3.6e+03 in all: held so that it is seen, the list would be 5.76e+13 samples; cut it into parts"},
    {"empty.csv", 1, 0, -1,
     "the file is empty; record or export it again"},
    {"first-row-too-short.csv", 1, 0, -1, "this row has 2 columns, the others have 3; correct or remove it"},
    {"header-and-units-only.csv", 2, 0, -1, "no row of numbers follows the header; record or export it again"},
    {"header-only.csv", 1, 0, -1, "no row of numbers follows the header; record or export it again"},
    {"hexadecimal.csv", 5, 7, -1,
     "'0x13' is a number with something behind it; export plain numbers, with the unit in the header"},
    {"last-number-cut-in-exponent.csv", 3, 10, -1,
     "'3.5E' is a number with something behind it; export plain numbers, with the unit in the header"},
    {"last-row-cut.csv", 4, 0, -1,
     "the last row is cut off: 2 of 3 columns; copy or export the file again, or remove the row"},
    {"no-time-column.csv", 2, 0, -1, "no time column; give --rate"},
    {"npy-bytes-behind.npy", 0, 0, 152, "there are 1 more bytes behind the array; save it again as one array"},
    {"npy-complex.npy", 0, 0, 20, "elements of type '<c16' are not read; save the array as integers or float64"},
    {"npy-empty.npy", 0, 0, 128, "the array is empty; save it again"},
    {"npy-fields.npy", 0, 0, 20, "the array has named fields; save a plain array of numbers"},
    {"npy-header-cut.npy", 0, 0, 60, "the .npy file is cut off in its header; copy or save it again"},
    {"npy-header-damaged.npy", 0, 0, 44, "the header of the .npy file is damaged here; save the array again"},
    {"npy-numbers-cut.npy", 0, 0, 151,
     "the .npy file is cut off: 24 bytes of numbers are promised, 23 are there; copy or save it again"},
    {"npy-objects.npy", 0, 0, 20,
     "the array holds Python objects, which could run code when read; save it as numbers, such as float64"},
    {"npy-strings.npy", 0, 0, 20, "elements of type '<U8' are not read; save the array as integers or float64"},
    {"npy-three-dimensions.npy", 0, 0, 67, "the array has more than two dimensions; save one of one or two"},
    {"npy-too-large.npy", 0, 0, 128, "the array is too large; save a shorter part of it"},
    {"npy-version-9.npy", 0, 0, 6, "a .npy file of version 9; versions 1 to 3 are read, save it in one of them"},
    {"npy-without-rate.npy", 0, 0, 128,
     "no time column; give --rate"},
    {"npz-byte-changed.npz", 0, 0, 0,
     "array time.npy of the .npz archive is damaged; copy or save the archive again"},
    {"npz-cut.npz", 0, 0, 494,
     "the .npz archive is damaged or cut off (Not a zip archive); copy or save it again"},
    {"npz-lengths-differ.npz", 0, 0, 0,
     "array CH1.npy has 2 samples, the ones before it 4; save them in archives of their own"},
    {"npz-no-array-in-it.npz", 0, 0, 0,
     "array CH1.npy of the .npz archive is no .npy array; save it again"},
    {"npz-objects.npz", 0, 0, 20,
     "the array holds Python objects, which could run code when read; save it as numbers, such as float64"},
    {"npz-promises-too-much.npz", 0, 0, 0,
     "array CH1.npy of the .npz archive promises more bytes than it can hold; the file is damaged or made to do harm"},
    {"npz-time-goes-back.npz", 0, 0, 0,
     "time goes back or is missing at sample 3 of the array time; correct it, or give --rate"},
    {"npz-with-a-text.npz", 0, 0, 0,
     "array notes.txt of the .npz archive is no .npy array; save arrays only"},
    {"npz-without-time.npz", 0, 0, 0,
     "no array is called time; give --rate"},
    {"nul-in-a-row.csv", 0, 0, 17, "not a recording this program reads; export it as delimited text, WAVE or .npy"},
    {"number-too-large.csv", 3, 7, -1, "'1e999' is too large for a number; correct the cell or leave it empty"},
    {"object.json", 1, 0, -1,
     "this is a JSON document, not a table of numbers; export the recording as delimited text"},
    {"one-row.csv", 2, 0, -1, "one row of numbers gives no sample rate; export the whole recording"},
    {"only-a-time-column.csv", 2, 0, -1,
     "there is a time column and nothing else; export the signal too, or give --rate if column 1 is the signal"},
    {"only-blanks.csv", 1, 0, -1,
     "the file is empty; record or export it again"},
    {"page.html", 1, 0, -1,
     "this is an XML or HTML document, not a table of numbers; export the recording as delimited text"},
    {"picture.png", 0, 0, 0, "this is a picture; export the samples, not the screen"},
    {"preamble-only.txt", 3, 0, -1, "no row of numbers follows the header; record or export it again"},
    {"quote-not-closed.csv", 3, 8, -1,
     "a quote is opened before '3,30.5?0.003,0.5,1?' and not closed; close or remove it"},
    {"random-bytes.bin", 0, 0, 1, "not a recording this program reads; export it as delimited text, WAVE or .npy"},
    {"row-too-long.csv", 3, 0, -1,
     "this row has 4 columns, the others have 3; correct or remove it (a decimal comma needs semicolons or tabs "
     "between columns)"},
    {"row-too-short.csv", 3, 0, -1, "this row has 2 columns, the others have 3; correct or remove it"},
    {"second-header.csv", 7, 1, -1, "'time' is not a number; correct the cell or leave it empty"},
    {"text-behind-65536-bytes.csv", 9001, 7, -1, "'x' is not a number; correct the cell or leave it empty"},
    {"text-in-first-row.csv", 1, 7, -1, "'open' is not a number; correct the cell or leave it empty"},
    {"text-in-number.csv", 4, 7, -1, "'open' is not a number; correct the cell or leave it empty"},
    {"thousands-everywhere.csv", 2, 7, -1, "'1,234.5' has marks between thousands; export without them"},
    {"thousands-marks.csv", 2, 7, -1, "'1,234.5' has marks between thousands; export without them"},
    {"thousands-points.csv", 2, 7, -1, "'1.234.567' has marks between thousands; export without them"},
    {"time-goes-back-without-header.csv", 3001, 1, -1,
     "time goes back from 2.999 to 0 in column 1; split the file there, or give --rate if this is no time column"},
    {"time-goes-back.csv", 4, 1, -1, "time goes back from 0.001 to 0.0005 in column 1; split the file there"},
    {"time-in-volts.csv", 2, 0, -1, "time column 1 is in V, not in a unit of time; correct the header or give --rate"},
    {"time-missing.csv", 3, 1, -1, "the time is missing in this row; correct or remove it"},
    {"time-of-day-without-seconds.csv", 2, 1, -1,
     "'10:00' is a date or a time of day; export the time in seconds, or leave the column out and give --rate"},
    {"time-stands-still.csv", 2, 0, -1, "time stands still in column 1; export it with more digits or give --rate"},
    {"too-many-digits.csv", 3, 7, -1,
     "'111111111111111111111111...' has too many digits for a number; correct the cell"},
    {"two-different-times.csv", 2, 0, -1, "columns 1 and 3 hold different times; export the channels one by one"},
    {"two-points.csv", 3, 7, -1, "'3.1.4' has marks between thousands; export without them"},
    {"two-signs.csv", 3, 7, -1, "'--3' is not a number; correct the cell or leave it empty"},
    {"two-thousand-columns.csv", 1, 0, -1,
     "there are more than 1024 columns; export the channels in parts"},
    {"unit-behind-number.csv", 3, 7, -1,
     "'3V' is a number with something behind it; export plain numbers, with the unit in the header"},
    {"utf16-half-a-character.csv", 0, 0, 26, "half a UTF-16 character at the end; copy or export the file again"},
    {"utf16-half-a-pair.csv", 0, 0, 6, "damaged UTF-16 text; copy or export the file again"},
    {"wave-12-bits.wav", 0, 0, 34,
     "samples of 12 bits are not read; export 8, 16, 24 or 32 bits, or 32 or 64 bits of floating point"},
    {"wave-block-wrong.wav", 0, 0, 32,
     "3 bytes for a sample of every channel, but 1 channels of 16 bits; the file is damaged"},
    {"wave-compressed.wav", 0, 0, 20, "the samples are compressed (format 0x0011); export them as plain PCM"},
    {"wave-extensible-compressed.wav", 0, 0, 20,
     "the samples are compressed (format 0x0055); export them as plain PCM"},
    {"wave-extensible-strange.wav", 0, 0, 44,
     "the samples are coded in a way this program does not read; export them as plain PCM"},
    {"wave-extensible-too-short.wav", 0, 0, 20,
     "the extensible format chunk is too short; the file is damaged, record it again"},
    {"wave-five-gigabytes-promised.wav", 0, 0, 88,
     "the WAVE file is cut off: 5368709120 bytes of samples are promised, 8 are there; copy or record it again"},
    {"wave-format-cut.wav", 0, 0, 30,
     "the WAVE file is cut off in a chunk before the samples; copy or record it again"},
    {"wave-format-too-short.wav", 0, 0, 20,
     "the format chunk has 14 bytes, at least 16 are needed; the file is damaged, record it again"},
    {"wave-header-cut.wav", 0, 0, 10, "the WAVE file is cut off in its first 12 bytes; copy or record it again"},
    {"wave-last-sample-cut.wav", 0, 0, 51, "the last sample is not whole; copy or record the file again"},
    {"wave-no-channels.wav", 0, 0, 22, "0 channels make no sense; the file is damaged, record it again"},
    {"wave-not-wave.wav", 0, 0, 8, "a RIFF file, but not of WAVE samples; export the recording as WAVE or text"},
    {"wave-rate-nought.wav", 0, 0, 24, "a sample rate of nought; the file is damaged, record it again"},
    {"wave-samples-before-format.wav", 0, 0, 12,
     "the samples come before their format; the file is damaged, record it again"},
    {"wave-samples-cut.wav", 0, 0, 49,
     "the WAVE file is cut off: 8 bytes of samples are promised, 5 are there; copy or record it again"},
    {"wave-samples-empty.wav", 0, 0, 44, "there are no samples; record it again"},
    {"wave-without-samples.wav", 0, 0, 36, "the WAVE file is cut off before the samples; copy or record it again"},
    {"xml.xml", 1, 0, -1,
     "this is an XML or HTML document, not a table of numbers; export the recording as delimited text"},
};
enum { FILES = sizeof files / sizeof files[0] };

static const char folder[] = PLB_SOURCE_DIR "/tests/data/bad/captures";

static void check_file(const bad_file *f) {
  char path[PLB_PATH_SIZE];
  snprintf(path, sizeof path, "%s/%s", folder, f->name);
  plb_capture *capture = NULL;
  plb_error error = PLB_ERROR_INIT;
  const plb_status status = plb_capture_read(&capture, path, NULL, &error);
  /* one of two files that belong together is not there */
  const plb_status expected = strcmp(f->name, "comtrade-without-its-data.cfg") == 0 ? PLB_ENOINPUT : PLB_EDATA;
  if (status != expected || error.status != expected || capture)
    fail_msg("%s: status %d, expected %d", f->name, status, expected);
  if (strcmp(error.message, f->message) != 0)
    fail_msg("%s: \"%s\", expected \"%s\"", f->name, error.message, f->message);
  if (error.line != f->line || error.column != f->column || error.byte != f->byte)
    fail_msg("%s: line %lld, column %lld, byte %lld; expected %lld, %lld, %lld", f->name, (long long)error.line,
             (long long)error.column, (long long)error.byte, (long long)f->line, (long long)f->column,
             (long long)f->byte);
  assert_true(error.line > 0 || error.byte >= 0 || expected == PLB_ENOINPUT); /* where it is */
  assert_string_equal(error.path, path);
  assert_non_null(strstr(error.message, "; ")); /* what is wrong; what to do */
  assert_true(error.message[strlen(error.message) - 1] != '.');
}

static void test_bad__every_file_has_its_message(void **state) {
  (void)state;
  for (size_t i = 0; i < FILES; i++)
    check_file(&files[i]);
}

/* The table and the folder hold the same files. */
static void test_bad__every_file_is_listed(void **state) {
  (void)state;
  size_t found = 0;
  DIR *d = opendir(folder);
  assert_non_null(d);
  for (struct dirent *entry = readdir(d); entry; entry = readdir(d)) {
    if (entry->d_name[0] == '.')
      continue;
    size_t i = 0;
    while (i < FILES && strcmp(files[i].name, entry->d_name) != 0)
      i++;
    if (i == FILES)
      fail_msg("%s is not in the table", entry->d_name);
    found++;
  }
  closedir(d);
  assert_int_equal(found, FILES);
}

static void test_bad__folders_and_missing_files(void **state) {
  (void)state;
  plb_capture *capture = NULL;
  plb_error error = PLB_ERROR_INIT;
  assert_int_equal(plb_capture_read(&capture, folder, NULL, &error), PLB_ENOINPUT);
  assert_non_null(strstr(error.message, "folder"));
  assert_string_equal(error.path, folder);
  error = (plb_error)PLB_ERROR_INIT;
  assert_int_equal(plb_capture_read(&capture, "no such file", NULL, &error), PLB_ENOINPUT);
  assert_null(capture);
  assert_int_equal(plb_capture_read(&capture, "no such file", NULL, NULL),
                   PLB_ENOINPUT); /* without a place for the detail */
}

static void test_bad__options(void **state) {
  (void)state;
  plb_capture *capture = NULL;
  plb_error error = PLB_ERROR_INIT;
  plb_read_options options = PLB_READ_OPTIONS_INIT;
  options.rate_hz = -1;
  assert_int_equal(plb_capture_read_memory(&capture, "0;1\n1;2\n", 8, "x", &options, &error), PLB_EUSAGE);
  options.rate_hz = 0;
  options.most_bytes = 7;
  assert_int_equal(plb_capture_read_memory(&capture, "0;1\n1;2\n", 8, "x", &options, &error), PLB_EDATA);
  options.most_bytes = 8;
  assert_int_equal(plb_capture_read_memory(&capture, "0;1\n1;2\n", 8, "x", &options, &error), PLB_OK);
  plb_capture_free(capture);
  options.version = 2;
  assert_int_equal(plb_capture_read_memory(&capture, "0;1\n1;2\n", 8, "x", &options, &error), PLB_EINVAL);
}

int main(void) {
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(test_bad__every_file_has_its_message),
      cmocka_unit_test(test_bad__every_file_is_listed),
      cmocka_unit_test(test_bad__folders_and_missing_files),
      cmocka_unit_test(test_bad__options),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
