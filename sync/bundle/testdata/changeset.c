/* Reads three SQL scripts, parted by the byte 1: a schema, a history, and news. Writes
   the sizes of the changesets of history and news, as SQLite's session extension
   makes them, a line feed, and both. */
#include "sqlite3-binding.c"

static char *script(char **rest) {
  char *text = *rest, *end = strchr(text, 1);
  if (end) { *end = 0; *rest = end + 1; } else { *rest = text + strlen(text); }
  return text;
}

static void must(int code, const char *what) {
  if (code != SQLITE_OK) { fprintf(stderr, "%s: error %d\n", what, code); exit(1); }
}

int main(void) {
  size_t size = 0, room = 1 << 20, n;
  char *text = malloc(room);
  while ((n = fread(text + size, 1, room - size - 1, stdin)) > 0) {
    if ((size += n) + 1 == room) text = realloc(text, room *= 2);
  }
  text[size] = 0;
  sqlite3 *db;
  must(sqlite3_open(":memory:", &db), "open");
  must(sqlite3_exec(db, script(&text), 0, 0, 0), "schema");
  int sizes[2];
  void *made[2];
  for (int i = 0; i < 2; i++) {
    sqlite3_session *session;
    must(sqlite3session_create(db, "main", &session), "session");
    must(sqlite3session_attach(session, NULL), "attach");
    must(sqlite3_exec(db, "BEGIN", 0, 0, 0), "begin");
    must(sqlite3_exec(db, script(&text), 0, 0, 0), "inserts");
    must(sqlite3_exec(db, "COMMIT", 0, 0, 0), "commit");
    must(sqlite3session_changeset(session, &sizes[i], &made[i]), "changeset");
    sqlite3session_delete(session);
  }
  printf("%d %d\n", sizes[0], sizes[1]);
  fwrite(made[0], 1, sizes[0], stdout);
  fwrite(made[1], 1, sizes[1], stdout);
  return 0;
}
