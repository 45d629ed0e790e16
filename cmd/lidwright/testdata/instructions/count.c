/* A plugin for qemu-user that counts the instructions of the program it plays into the first eight bytes of a
 * file, where they can be read at any time. The interface is version 1 of qemu's (docs/devel/tcg-plugins.rst);
 * its header is in no package, so what is used of it is declared here. */
#include <fcntl.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

typedef uint64_t qemu_plugin_id_t;
struct qemu_plugin_tb;
enum qemu_plugin_op { QEMU_PLUGIN_INLINE_ADD_U64 };
typedef void (*translated)(qemu_plugin_id_t id, struct qemu_plugin_tb *tb);

void qemu_plugin_register_vcpu_tb_trans_cb(qemu_plugin_id_t id, translated cb);
size_t qemu_plugin_tb_n_insns(const struct qemu_plugin_tb *tb);
void qemu_plugin_register_vcpu_tb_exec_inline(struct qemu_plugin_tb *tb, enum qemu_plugin_op op, void *to,
                                              uint64_t add);

int qemu_plugin_version = 1;

static uint64_t *count;

static void block(qemu_plugin_id_t id, struct qemu_plugin_tb *tb)
{
    qemu_plugin_register_vcpu_tb_exec_inline(tb, QEMU_PLUGIN_INLINE_ADD_U64, count, qemu_plugin_tb_n_insns(tb));
}

/* One argument: into=FILE. */
int qemu_plugin_install(qemu_plugin_id_t id, const void *info, int argc, char **argv)
{
    if (argc != 1 || strncmp(argv[0], "into=", 5) != 0)
        return -1;
    int f = open(argv[0] + 5, O_RDWR | O_CREAT, 0600);
    if (f < 0 || ftruncate(f, 4096) != 0)
        return -1;
    count = mmap(NULL, 4096, PROT_READ | PROT_WRITE, MAP_SHARED, f, 0);
    if (count == MAP_FAILED)
        return -1;
    qemu_plugin_register_vcpu_tb_trans_cb(id, block);
    return 0;
}
