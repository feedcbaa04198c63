/* Who writes: a claim, never a proof. */
#include "collection/store/store.h"

#include <pwd.h>
#include <stdio.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

static const char no_mail[] = "none"; /* git wants something between the angle brackets */

/* What would break a commit's line or a tab-parted one. */
static void clean(char *text) {
  for (char *c = text; *c; c++)
    if ((unsigned char)*c < 0x20 || *c == 0x7f)
      *c = ' ';
}

static bool from_git(char *out) {
  git_config *config = NULL;
  git_buf name = {0}, mail = {0};
  bool found = false;
  if (git_config_open_default(&config) == 0 && git_config_get_string_buf(&name, config, "user.name") == 0 && name.size > 0) {
    const bool has_mail = git_config_get_string_buf(&mail, config, "user.email") == 0 && mail.size > 0;
    found = snprintf(out, PLB_TEXT_SIZE, has_mail ? "%s <%s>" : "%s", name.ptr, has_mail ? mail.ptr : "") < PLB_TEXT_SIZE;
  }
  git_buf_dispose(&name);
  git_buf_dispose(&mail);
  git_config_free(config);
  return found;
}

plb_status plb_author_find(const char *stated, char *out, plb_error *err) {
  const char *said = stated && stated[0] ? stated : getenv("PLUMBLINE_AUTHOR");
  if (said && said[0]) {
    if (strlen(said) > 200)
      return plb_fail(err, PLB_EUSAGE, "the author's name is too long");
    snprintf(out, PLB_TEXT_SIZE, "%s", said);
  } else if (!from_git(out)) {
    const struct passwd *p = getpwuid(getuid());
    if (p && p->pw_name[0])
      snprintf(out, PLB_TEXT_SIZE, "%s", p->pw_name);
    else
      snprintf(out, PLB_TEXT_SIZE, "user %ld", (long)getuid());
  }
  clean(out);
  git_signature *signature = NULL;
  const plb_status status = plb_author_signature(out, &signature, err);
  if (status == PLB_OK)
    plb_author_of(signature, out, PLB_TEXT_SIZE);
  git_signature_free(signature);
  return status;
}

static void split(const char *author, char *name, char *mail) {
  const char *open = strchr(author, '<'), *close = open ? strchr(open, '>') : NULL;
  const int n = (int)(open ? open - author : (ptrdiff_t)strlen(author));
  snprintf(name, PLB_TEXT_SIZE, "%.*s", n, author);
  snprintf(mail, PLB_TEXT_SIZE, "%.*s", open && close ? (int)(close - open - 1) : 0, open ? open + 1 : "");
  char *start = name + strspn(name, " ");
  memmove(name, start, strlen(start) + 1);
  for (size_t i = strlen(name); i > 0 && name[i - 1] == ' '; i--)
    name[i - 1] = '\0';
  plb_text_lower(mail);
}

plb_status plb_author_signature(const char *author, git_signature **out, plb_error *err) {
  char name[PLB_TEXT_SIZE], mail[PLB_TEXT_SIZE];
  split(author, name, mail);
  const char *epoch = getenv("SOURCE_DATE_EPOCH");
  double seconds = 0;
  const bool fixed = epoch && plb_text_number(epoch, strlen(epoch), &seconds) && seconds >= 0;
  const git_time_t when = fixed ? (git_time_t)seconds : (git_time_t)time(NULL);
  if (git_signature_new(out, name[0] ? name : mail, mail[0] ? mail : no_mail, when, 0) < 0)
    return plb_git_fail(err, PLB_EUSAGE, "the author's name cannot be used; give one with --author \"Name\"");
  return PLB_OK;
}

void plb_author_of(const git_signature *signature, char *out, size_t size) {
  if (!signature)
    snprintf(out, size, "unknown");
  else if (strcmp(signature->email, no_mail) == 0 || !signature->email[0])
    snprintf(out, size, "%s", signature->name);
  else
    snprintf(out, size, "%s <%s>", signature->name, signature->email);
  clean(out);
}

bool plb_author_same(const char *a, const char *b) {
  char name_a[PLB_TEXT_SIZE], mail_a[PLB_TEXT_SIZE], name_b[PLB_TEXT_SIZE], mail_b[PLB_TEXT_SIZE];
  split(a, name_a, mail_a);
  split(b, name_b, mail_b);
  plb_text_lower(name_a);
  plb_text_lower(name_b);
  return strcmp(name_a, name_b) == 0 || (mail_a[0] && strcmp(mail_a, mail_b) == 0);
}

void plb_time_text(int64_t seconds, char *out) {
  const time_t t = (time_t)seconds;
  struct tm parts;
  if (!gmtime_r(&t, &parts) || strftime(out, PLB_NAME_SIZE, "%Y-%m-%dT%H:%M:%SZ", &parts) == 0)
    snprintf(out, PLB_NAME_SIZE, "1970-01-01T00:00:00Z");
}

/* Days since 1970 of a date in the Gregorian calendar (H. Hinnant, "chrono-compatible low-level date algorithms", days_from_civil). */
static int64_t days_from_civil(int64_t year, int64_t month, int64_t day) {
  year -= month <= 2;
  const int64_t era = (year >= 0 ? year : year - 399) / 400, of_era = year - era * 400;
  const int64_t of_year = (153 * (month + (month > 2 ? -3 : 9)) + 2) / 5 + day - 1;
  return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

bool plb_time_parse(const char *text, int64_t *out) {
  int year, month, day, hour, minute, second;
  if (sscanf(text, "%4d-%2d-%2dT%2d:%2d:%2dZ", &year, &month, &day, &hour, &minute, &second) != 6)
    return false;
  *out = days_from_civil(year, month, day) * 86400 + hour * 3600 + minute * 60 + second;
  return true;
}
