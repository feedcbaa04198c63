#include "cmocka_all.h"
#include "core/alloc.h"
#include "core/file.h"

#include <dirent.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

/* Every test works in a folder of its own, which is the working directory, so that names stay short. */
typedef struct place {
  char folder[64];
  int before; /* the working directory to go back to */
} place;

static int enter_place(void **state) {
  place *p = plb_calloc(1, sizeof *p);
  strcpy(p->folder, "/tmp/plumbline-test-XXXXXX");
  p->before = open(".", O_RDONLY | O_DIRECTORY);
  *state = p;
  return !mkdtemp(p->folder) || chdir(p->folder) != 0;
}

static int leave_place(void **state) {
  place *p = *state;
  DIR *folder = opendir(".");
  for (struct dirent *entry = readdir(folder); entry; entry = readdir(folder))
    if (unlink(entry->d_name) != 0)
      rmdir(entry->d_name);
  closedir(folder);
  const int failed = fchdir(p->before) != 0 || rmdir(p->folder) != 0;
  close(p->before);
  free(p);
  return failed;
}

static int count_entries(void) {
  int count = 0;
  DIR *folder = opendir(".");
  assert_non_null(folder);
  for (struct dirent *entry = readdir(folder); entry; entry = readdir(folder))
    count += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0;
  closedir(folder);
  return count;
}

static void write_text(const char *path, const char *text) {
  plb_error err = PLB_ERROR_INIT;
  if (plb_file_write(path, text, strlen(text), &err) != PLB_OK)
    fail_msg("%s: %s", path, err.message);
}

static void assert_contents(const char *path, const char *expected) {
  char *data = NULL;
  size_t size = 0;
  plb_error err = PLB_ERROR_INIT;
  if (plb_file_read(path, 1 << 20, &data, &size, &err) != PLB_OK)
    fail_msg("%s: %s", path, err.message);
  assert_int_equal(size, strlen(expected));
  assert_string_equal(data, expected);
  free(data);
}

static void assert_unreadable(const char *path, size_t most, plb_status expected) {
  char *data = NULL;
  size_t size = 77;
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_file_read(path, most, &data, &size, &err), expected);
  assert_int_equal(err.status, expected);
  assert_string_equal(err.path, path);
  assert_non_null(strchr(err.message, ';'));
  assert_null(data);
  assert_int_equal(size, 77);
  assert_int_equal(plb_file_read(path, most, &data, &size, NULL), expected);
}

static void assert_unwritable(const char *path, plb_status expected) {
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_file_write(path, "new", 3, &err), expected);
  assert_int_equal(err.status, expected);
  assert_string_equal(err.path, path);
  assert_non_null(strchr(err.message, ';'));
}

static unsigned mode_of(const char *path) {
  struct stat about;
  assert_int_equal(lstat(path, &about), 0);
  return about.st_mode & 07777;
}

static void test_file__what_is_written_is_read(void **state) {
  (void)state;
  enum { SIZE = 300000 };
  unsigned char *data = plb_calloc(SIZE, 1);
  for (size_t i = 0; i < SIZE; i++)
    data[i] = (unsigned char)(i * 7919 >> 3);
  assert_int_equal(plb_file_write("a", data, SIZE, NULL), PLB_OK);
  char *back = NULL;
  size_t size = 0;
  assert_int_equal(plb_file_read("a", SIZE, &back, &size, NULL), PLB_OK);
  assert_int_equal(size, SIZE);
  assert_memory_equal(back, data, SIZE);
  assert_int_equal(back[SIZE], 0);
  free(back);
  free(data);
}

static void test_file__empty_file(void **state) {
  (void)state;
  assert_int_equal(plb_file_write("a", NULL, 0, NULL), PLB_OK);
  assert_contents("a", "");
}

static void test_file__read_refuses_what_is_missing_or_a_folder(void **state) {
  (void)state;
  mkdir("folder", 0777);
  assert_unreadable("nothing", 100, PLB_ENOINPUT);
  assert_unreadable("nothing/below", 100, PLB_ENOINPUT);
  assert_unreadable("folder", 100, PLB_ENOINPUT);
  assert_unreadable("", 100, PLB_ENOINPUT);
}

static void test_file__read_refuses_what_may_not_be_read(void **state) {
  (void)state;
  if (geteuid() == 0) {
    puts("running as root, who may read everything: skipped");
    skip();
  }
  write_text("a", "secret");
  chmod("a", 0);
  assert_unreadable("a", 100, PLB_ENOINPUT);
}

static void test_file__read_keeps_to_the_stated_maximum(void **state) {
  (void)state;
  char *data = NULL;
  size_t size = 0;
  write_text("a", "0123456789");
  assert_int_equal(plb_file_read("a", 10, &data, &size, NULL), PLB_OK);
  assert_int_equal(size, 10);
  free(data);
  assert_unreadable("a", 9, PLB_EDATA);
  assert_unreadable("/dev/zero", 1 << 20, PLB_EDATA); /* has no size to ask for */
  assert_int_equal(plb_file_read("a", SIZE_MAX, &data, &size, NULL), PLB_OK);
  free(data);
}

static void test_file__read_files_without_a_size(void **state) {
  (void)state;
  int ends[2];
  assert_int_equal(pipe(ends), 0);
  assert_int_equal(write(ends[1], "through a pipe", 14), 14);
  close(ends[1]);
  char path[32];
  snprintf(path, sizeof path, "/dev/fd/%d", ends[0]);
  assert_contents(path, "through a pipe");
  close(ends[0]);
  assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, ends), 0); /* has a name but cannot be opened by it */
  assert_int_equal(write(ends[1], "a socket", 8), 8);
  close(ends[1]);
  snprintf(path, sizeof path, "/proc/self/fd/%d", ends[0]);
  assert_contents(path, "a socket");
  close(ends[0]);
  char *data = NULL;
  size_t size = 0;
  assert_int_equal(plb_file_read("/proc/self/status", 1 << 20, &data, &size, NULL), PLB_OK);
  assert_true(size > 100);
  free(data);
}

static void test_file__write_replaces_the_whole(void **state) {
  (void)state;
  write_text("a", "a long first text");
  write_text("a", "short");
  assert_contents("a", "short");
  assert_int_equal(count_entries(), 1); /* no temporary file is left */
}

static void test_file__write_respects_the_umask(void **state) {
  (void)state;
  const mode_t before = umask(027);
  write_text("a", "x");
  umask(077);
  write_text("b", "x");
  umask(before);
  assert_int_equal(mode_of("a"), 0640);
  assert_int_equal(mode_of("b"), 0600);
}

static void test_file__write_keeps_the_permissions_of_what_it_replaces(void **state) {
  (void)state;
  write_text("a", "x");
  const mode_t before = umask(022);
  chmod("a", 0664); /* the umask would take the group's write permission away */
  write_text("a", "y");
  assert_int_equal(mode_of("a"), 0664);
  chmod("a", 0600);
  write_text("a", "z");
  assert_int_equal(mode_of("a"), 0600);
  umask(before);
}

static void test_file__write_refuses_a_protected_file(void **state) {
  (void)state;
  if (geteuid() == 0) {
    puts("running as root, who may write everything: skipped");
    skip();
  }
  write_text("a", "old");
  chmod("a", 0444);
  assert_unwritable("a", PLB_ECREATE);
  assert_contents("a", "old");
}

static void test_file__write_through_a_link(void **state) {
  (void)state;
  mkdir("folder", 0777);
  write_text("folder/target", "old");
  assert_int_equal(symlink("target", "folder/inner"), 0); /* relative to the folder the link is in */
  assert_int_equal(symlink("folder/inner", "outer"), 0);
  write_text("outer", "new");
  assert_contents("folder/target", "new");
  assert_true(readlink("outer", (char[20]){0}, 20) == 12);
  assert_int_equal(count_entries(), 2);
  assert_int_equal(unlink("folder/inner"), 0);
  assert_int_equal(unlink("folder/target"), 0);
}

static void test_file__write_through_a_link_to_nowhere_makes_its_target(void **state) {
  (void)state;
  assert_int_equal(symlink("target", "link"), 0);
  write_text("link", "new");
  assert_contents("target", "new");
  assert_true(readlink("link", (char[8]){0}, 8) == 6);
}

static void test_file__write_refuses_a_circle_of_links(void **state) {
  (void)state;
  assert_int_equal(symlink("b", "a"), 0);
  assert_int_equal(symlink("a", "b"), 0);
  assert_unwritable("a", PLB_ECREATE);
}

static void test_file__write_refuses_folders(void **state) {
  (void)state;
  mkdir("folder", 0777);
  assert_unwritable("folder", PLB_ECREATE);
  assert_unwritable("folder/", PLB_ECREATE);
  assert_unwritable("nothing/a", PLB_ECREATE);
  assert_unwritable("", PLB_ECREATE);
  assert_int_equal(count_entries(), 1);
}

static void test_file__write_to_a_held_pipe(void **state) {
  (void)state;
  int ends[2];
  char path[32], got[16] = "";
  assert_int_equal(pipe(ends), 0);
  snprintf(path, sizeof path, "/dev/fd/%d", ends[1]);
  assert_int_equal(symlink(path, "link"), 0);
  write_text(path, "one ");
  write_text("link", "two");
  close(ends[1]);
  assert_int_equal(read(ends[0], got, sizeof got - 1), 7);
  assert_string_equal(got, "one two");
  close(ends[0]);
}

/* `>> file` in a shell: what is there already must stay. */
static void test_file__write_to_a_held_file_goes_on_where_it_stands(void **state) {
  (void)state;
  write_text("a", "before ");
  const int fd = open("a", O_WRONLY | O_APPEND);
  char path[32];
  snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
  write_text(path, "after");
  close(fd);
  assert_contents("a", "before after");
}

/* No test writes to a device by its name: run by root, a mistake in the code would replace the device. A named pipe
 * takes the same way through the code. */
static void test_file__write_to_a_named_pipe_leaves_it(void **state) {
  (void)state;
  struct stat about;
  assert_int_equal(mkfifo("pipe", 0600), 0);
  const int reader = open("pipe", O_RDONLY | O_NONBLOCK);
  write_text("pipe", "text");
  char got[8] = "";
  assert_int_equal(read(reader, got, 7), 4);
  assert_string_equal(got, "text");
  close(reader);
  assert_int_equal(stat("pipe", &about), 0);
  assert_true(S_ISFIFO(about.st_mode));
  assert_int_equal(count_entries(), 1);
}

static void test_file__write_to_a_reader_that_has_gone_is_said(void **state) {
  (void)state;
  int ends[2];
  char path[32];
  assert_int_equal(pipe(ends), 0);
  close(ends[0]);
  snprintf(path, sizeof path, "/dev/fd/%d", ends[1]);
  void (*handler)(int) = signal(SIGPIPE, SIG_IGN);
  assert_unwritable(path, PLB_EIO);
  signal(SIGPIPE, handler);
  close(ends[1]);
}

/* A limit on the size of files stands for a disk that fills up while writing. */
static void test_file__failed_write_leaves_the_old_file(void **state) {
  (void)state;
  write_text("a", "old");
  struct rlimit before;
  assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
  const struct rlimit small = {4096, before.rlim_max};
  void (*handler)(int) = signal(SIGXFSZ, SIG_IGN);
  assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
  static const char zeros[10000] = {0};
  plb_error err = PLB_ERROR_INIT;
  const plb_status status = plb_file_write("a", zeros, sizeof zeros, &err);
  setrlimit(RLIMIT_FSIZE, &before);
  signal(SIGXFSZ, handler);
  assert_int_equal(status, PLB_EIO);
  assert_contents("a", "old");
  assert_int_equal(count_entries(), 1);
}

static void test_file__data_is_found_where_told_first(void **state) {
  (void)state;
  char out[PLB_PATH_SIZE];
  mkdir("schema", 0777);
  write_text("LICENSE", "mine");
  setenv("PLUMBLINE_DATA", ".", 1);
  assert_int_equal(plb_file_find_data("LICENSE", out, NULL), PLB_OK);
  assert_string_equal(out, "./LICENSE");
  unlink("LICENSE");
  assert_int_equal(plb_file_find_data("LICENSE", out, NULL), PLB_OK);
  assert_string_equal(out, PLB_SOURCE_DIR "/LICENSE");
  setenv("PLUMBLINE_DATA", "", 1);
  assert_int_equal(plb_file_find_data("LICENSE", out, NULL), PLB_OK);
  assert_string_equal(out, PLB_SOURCE_DIR "/LICENSE");
  unsetenv("PLUMBLINE_DATA");
  assert_int_equal(plb_file_find_data("LICENSE", out, NULL), PLB_OK);
  assert_string_equal(out, PLB_SOURCE_DIR "/LICENSE");
}

static void test_file__data_is_found_beside_the_program(void **state) {
  (void)state;
  char program[PLB_PATH_SIZE] = "", share[2 * PLB_PATH_SIZE], file[3 * PLB_PATH_SIZE], out[PLB_PATH_SIZE];
  assert_true(readlink("/proc/self/exe", program, sizeof program - 1) > 0);
  *strrchr(program, '/') = '\0';
  snprintf(share, sizeof share, "%s/../share", program);
  const bool made_share = mkdir(share, 0777) == 0;
  snprintf(share, sizeof share, "%s/../share/plumbline", program);
  const bool made = mkdir(share, 0777) == 0;
  if (access(share, W_OK) != 0) {
    puts("the build folder may not be written: skipped");
    skip();
  }
  snprintf(file, sizeof file, "%s/core-test-%ld", share, (long)getpid());
  write_text(file, "x");
  const plb_status status = plb_file_find_data(strrchr(file, '/') + 1, out, NULL);
  unlink(file);
  if (made)
    rmdir(share);
  *strrchr(share, '/') = '\0';
  if (made_share)
    rmdir(share);
  assert_int_equal(status, PLB_OK);
  assert_string_equal(out, file);
}

static void test_file__data_that_is_missing_or_outside(void **state) {
  (void)state;
  char out[PLB_PATH_SIZE];
  plb_error err = PLB_ERROR_INIT;
  assert_int_equal(plb_file_find_data("no/such-file", out, &err), PLB_ENOINPUT);
  assert_non_null(strstr(err.message, "PLUMBLINE_DATA"));
  assert_string_equal(out, "");
  static const char *const outside[] = {"", "/etc/passwd", "..", "../x", "a/../x", "a/.."};
  for (size_t i = 0; i < sizeof outside / sizeof outside[0]; i++)
    assert_int_equal(plb_file_find_data(outside[i], out, NULL), PLB_EINVAL);
}

#define IN_A_PLACE(test) cmocka_unit_test_setup_teardown(test, enter_place, leave_place)

int main(void) {
  const struct CMUnitTest tests[] = {
      IN_A_PLACE(test_file__what_is_written_is_read),
      IN_A_PLACE(test_file__empty_file),
      IN_A_PLACE(test_file__read_refuses_what_is_missing_or_a_folder),
      IN_A_PLACE(test_file__read_refuses_what_may_not_be_read),
      IN_A_PLACE(test_file__read_keeps_to_the_stated_maximum),
      IN_A_PLACE(test_file__read_files_without_a_size),
      IN_A_PLACE(test_file__write_replaces_the_whole),
      IN_A_PLACE(test_file__write_respects_the_umask),
      IN_A_PLACE(test_file__write_keeps_the_permissions_of_what_it_replaces),
      IN_A_PLACE(test_file__write_refuses_a_protected_file),
      IN_A_PLACE(test_file__write_through_a_link),
      IN_A_PLACE(test_file__write_through_a_link_to_nowhere_makes_its_target),
      IN_A_PLACE(test_file__write_refuses_a_circle_of_links),
      IN_A_PLACE(test_file__write_refuses_folders),
      IN_A_PLACE(test_file__write_to_a_held_pipe),
      IN_A_PLACE(test_file__write_to_a_held_file_goes_on_where_it_stands),
      IN_A_PLACE(test_file__write_to_a_named_pipe_leaves_it),
      IN_A_PLACE(test_file__write_to_a_reader_that_has_gone_is_said),
      IN_A_PLACE(test_file__failed_write_leaves_the_old_file),
      IN_A_PLACE(test_file__data_is_found_where_told_first),
      IN_A_PLACE(test_file__data_is_found_beside_the_program),
      IN_A_PLACE(test_file__data_that_is_missing_or_outside),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
