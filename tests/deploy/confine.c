/* SPDX-License-Identifier: GPL-3.0-or-later
 *
 * Runs a program as the unit would confine it, but less kindly: a system call
 * outside the list ends the process instead of failing.
 *     confine LIST PROGRAM ARGUMENTS...
 * LIST holds the names of the allowed calls, one a line.  As root it becomes
 * nobody first.  Besides, as RestrictAddressFamilies=, MemoryDenyWriteExecute=
 * and RestrictNamespaces= of the unit do (systemd.exec(5)): no sockets but Unix
 * and IP, no memory that is both written and run, no namespaces.
 */
#include <errno.h>
#include <grp.h>
#include <linux/sched.h>
#include <seccomp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <unistd.h>

enum { NOBODY = 65534 };

static const scmp_datum_t both = PROT_WRITE | PROT_EXEC;
static const scmp_datum_t namespaces = CLONE_NEWNS | CLONE_NEWCGROUP | CLONE_NEWUTS | CLONE_NEWIPC |
				       CLONE_NEWUSER | CLONE_NEWPID | CLONE_NEWNET;

static void need(int rc, const char *what)
{
	if (rc >= 0)
		return;
	(void)fprintf(stderr, "confine: %s: %s\n", what, strerror(rc == -1 ? errno : -rc));
	exit(125);
}

static void allow_sockets(scmp_filter_ctx filter, int number)
{
	static const int families[] = {AF_UNIX, AF_INET, AF_INET6};

	for (size_t i = 0; i < sizeof families / sizeof *families; i++)
		need(seccomp_rule_add(filter, SCMP_ACT_ALLOW, number, 1,
				      SCMP_A0(SCMP_CMP_EQ, (scmp_datum_t)families[i], 0)),
		     "socket");
	/* Name resolution asks for AF_NETLINK and lives without. */
	need(seccomp_rule_add(filter, SCMP_ACT_ERRNO(EAFNOSUPPORT), number, 1,
			      SCMP_A0(SCMP_CMP_EQ, AF_NETLINK, 0)),
	     "socket");
}

static void allow_maps(scmp_filter_ctx filter, int number)
{
	static const scmp_datum_t fine[] = {0, PROT_WRITE, PROT_EXEC};

	for (size_t i = 0; i < sizeof fine / sizeof *fine; i++)
		need(seccomp_rule_add(filter, SCMP_ACT_ALLOW, number, 1,
				      SCMP_A2(SCMP_CMP_MASKED_EQ, both, fine[i])),
		     "mmap");
}

static void allow(scmp_filter_ctx filter, const char *name)
{
	int number = seccomp_syscall_resolve_name(name);

	if (number == __NR_SCMP_ERROR || number < 0)
		return; /* not of this architecture */
	if (!strcmp(name, "unshare") || !strcmp(name, "setns"))
		return; /* namespaces */
	if (!strcmp(name, "socket"))
		allow_sockets(filter, number);
	else if (!strcmp(name, "mmap"))
		allow_maps(filter, number);
	else if (!strcmp(name, "mprotect") || !strcmp(name, "pkey_mprotect"))
		need(seccomp_rule_add(filter, SCMP_ACT_ALLOW, number, 1,
				      SCMP_A2(SCMP_CMP_MASKED_EQ, PROT_EXEC, 0)),
		     name);
	else if (!strcmp(name, "clone"))
		need(seccomp_rule_add(filter, SCMP_ACT_ALLOW, number, 1,
				      SCMP_A0(SCMP_CMP_MASKED_EQ, namespaces, 0)),
		     name);
	else if (!strcmp(name, "clone3"))
		need(seccomp_rule_add(filter, SCMP_ACT_ERRNO(ENOSYS), number, 0), name);
	else
		need(seccomp_rule_add(filter, SCMP_ACT_ALLOW, number, 0), name);
}

int main(int argc, char **argv)
{
	scmp_filter_ctx filter = seccomp_init(SCMP_ACT_KILL_PROCESS);
	FILE *list = argc > 2 ? fopen(argv[1], "r") : NULL;
	char name[80];

	if (!filter || !list) {
		(void)fprintf(stderr, "usage: confine LIST PROGRAM ARGUMENTS...\n");
		return 125;
	}
	while (fgets(name, sizeof name, list)) {
		name[strcspn(name, "\n")] = '\0';
		allow(filter, name);
	}
	(void)fclose(list);
	if (geteuid() == 0) {
		need(setgroups(0, NULL), "setgroups");
		need(setgid(NOBODY), "setgid");
		need(setuid(NOBODY), "setuid");
	}
	need(seccomp_load(filter), "seccomp_load");
	execv(argv[2], argv + 2);
	need(-1, argv[2]);
	return 125;
}
