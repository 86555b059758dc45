// SPDX-License-Identifier: MIT
/*
 * An I2C adapter whose parts are played by a program: each message that anybody sends
 * through /dev/i2c-N is read from /dev/i2c-wire, and its answer written there.
 *
 * i2c-stub of the kernel answers SMBus calls alone; a Pi's controller, and the watch,
 * speak plain I2C messages (I2C_RDWR).  So this one has I2C_FUNC_I2C.
 *
 * A request: u16 address, u16 flags (1: read), u32 length, then the bytes written.
 * An answer: s32 result (0, or a negative errno), then the bytes read.
 */
#include <linux/i2c.h>
#include <linux/miscdevice.h>
#include <linux/module.h>
#include <linux/mutex.h>
#include <linux/uaccess.h>
#include <linux/wait.h>

#define LONGEST 256
#define PATIENCE (2 * HZ)

static int number = 1;
module_param(number, int, 0444);
MODULE_PARM_DESC(number, "the N of /dev/i2c-N");

struct request {
	u16 address, flags;
	u32 length;
	u8 data[LONGEST];
};

struct answer {
	s32 result;
	u8 data[LONGEST];
};

enum stage { IDLE, ASKED, TAKEN, ANSWERED };

static DEFINE_MUTEX(lock);
static DECLARE_WAIT_QUEUE_HEAD(changed);
static enum stage stage;
static struct request request;
static struct answer answer;
static atomic_t players = ATOMIC_INIT(0);

/* The adapter's own lock lets one transfer in at a time. */
static int carry(struct i2c_msg *message)
{
	int result;

	if (message->len > LONGEST)
		return -EOPNOTSUPP;
	if (!atomic_read(&players))
		return -EREMOTEIO;
	mutex_lock(&lock);
	request.address = message->addr;
	request.flags = message->flags & I2C_M_RD;
	request.length = message->len;
	if (!request.flags)
		memcpy(request.data, message->buf, message->len);
	stage = ASKED;
	mutex_unlock(&lock);
	wake_up_all(&changed);
	wait_event_timeout(changed, READ_ONCE(stage) == ANSWERED, PATIENCE);
	mutex_lock(&lock);
	if (stage == ANSWERED) {
		result = answer.result;
		if (!result && request.flags)
			memcpy(message->buf, answer.data, message->len);
	} else {
		result = -ETIMEDOUT;
	}
	stage = IDLE;
	mutex_unlock(&lock);
	return result;
}

static int transfer(struct i2c_adapter *adapter, struct i2c_msg *messages, int count)
{
	int at, result;

	for (at = 0; at < count; at++) {
		result = carry(&messages[at]);
		if (result)
			return result;
	}
	return count;
}

/* As the Pi's own controller says of itself. */
static u32 functions(struct i2c_adapter *adapter)
{
	return I2C_FUNC_I2C | (I2C_FUNC_SMBUS_EMUL & ~I2C_FUNC_SMBUS_QUICK);
}

static const struct i2c_algorithm algorithm = {
	.master_xfer = transfer,
	.functionality = functions,
};

static struct i2c_adapter adapter = {
	.owner = THIS_MODULE,
	.name = "i2c-wire",
	.algo = &algorithm,
};

static int wire_open(struct inode *inode, struct file *file)
{
	if (atomic_cmpxchg(&players, 0, 1))
		return -EBUSY;
	return 0;
}

static int wire_release(struct inode *inode, struct file *file)
{
	atomic_set(&players, 0);
	return 0;
}

static ssize_t wire_read(struct file *file, char __user *to, size_t size, loff_t *at)
{
	size_t bytes;

	if (wait_event_interruptible(changed, READ_ONCE(stage) == ASKED))
		return -ERESTARTSYS;
	mutex_lock(&lock);
	bytes = offsetof(struct request, data);
	if (!request.flags)
		bytes += request.length;
	if (stage != ASKED || size < bytes || copy_to_user(to, &request, bytes)) {
		mutex_unlock(&lock);
		return -EINVAL;
	}
	stage = TAKEN;
	mutex_unlock(&lock);
	return bytes;
}

static ssize_t wire_write(struct file *file, const char __user *from, size_t size,
			  loff_t *at)
{
	struct answer given = { 0 };

	if (size < sizeof(given.result) || size > sizeof(given) ||
	    copy_from_user(&given, from, size))
		return -EINVAL;
	mutex_lock(&lock);
	if (stage == TAKEN) {
		answer = given;
		stage = ANSWERED;
	}
	mutex_unlock(&lock);
	wake_up_all(&changed);
	return size;
}

static const struct file_operations operations = {
	.owner = THIS_MODULE,
	.open = wire_open,
	.release = wire_release,
	.read = wire_read,
	.write = wire_write,
};

static struct miscdevice wire = {
	.minor = MISC_DYNAMIC_MINOR,
	.name = "i2c-wire",
	.fops = &operations,
	.mode = 0600,
};

static int __init wire_init(void)
{
	int result = misc_register(&wire);

	if (result)
		return result;
	adapter.nr = number;
	result = i2c_add_numbered_adapter(&adapter);
	if (result)
		misc_deregister(&wire);
	return result;
}

static void __exit wire_exit(void)
{
	i2c_del_adapter(&adapter);
	misc_deregister(&wire);
}

module_init(wire_init);
module_exit(wire_exit);
MODULE_DESCRIPTION("An I2C adapter whose parts are played by a program");
MODULE_LICENSE("Dual MIT/GPL");
