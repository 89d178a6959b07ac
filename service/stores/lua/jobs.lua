-- Jobs in shards that are leased. One command of `redis_jobs.RedisJobs` is one call: whole or not done.
--
-- KEYS[1]: what all keys begin with. ARGV: the command, how often a shard may be begun, what is said
-- of one that was begun so often and never ended, how many jobs are remembered, then what the
-- command takes. Times are whole microseconds since 1970 by this server's clock.
--
-- job:KEY      hash, what a job is; its number `leased` counts the leases that are out
-- askers:KEY   sorted set of those who want it, in the order in which they came
-- open:KEY     sorted set of the numbers of its open shards
-- shards:KEY   hash: e:N epoch, a:N attempts that came to nothing, p:N payload of this stage's shard N
-- results:KEY  hash, what the parts of this stage have given, by number
-- earlier:KEY  the same of the stage before, for the plan
-- wants:ASKER  set of the open jobs of one who asks
-- spent:ASKER  hash, microseconds of computing by minute
-- ready        sorted set of the jobs that have open shards, best first; see `rescore`
-- waits        sorted set of open shards, KEY|N, by when they were opened
-- leases       sorted set of leased shards, KEY|N, by when the lease runs out
-- held         hash, KEY|N to the lease's token; `tokens` is the way back
-- leased       hash, asker to the leases of all the jobs wanted
-- jobs         set of the jobs that are not over
-- over         sorted set of those that are, by when they ended
-- workers      sorted set of workers, by how long they are believed to be there
-- counters     hash: serial, lapsed, failed

local P, MOST_ATTEMPTS, LOST, MOST_JOBS = KEYS[1], tonumber(ARGV[2]), ARGV[3], tonumber(ARGV[4])
local call = redis.call
local clock = call('TIME')
local now = tonumber(clock[1]) * 1000000 + tonumber(clock[2])

local MINUTE = 60 * 1000000
-- The order of `ready` is one number below 2^53: leases (10 bits), doublings (6), age (36).
local MOST_LEASES, LEASES, DOUBLINGS = 1023, 2 ^ 42, 2 ^ 36

local function of(key, ...)
    return call('HMGET', P .. 'job:' .. key, ...)
end

local function number_of(key, field)
    return tonumber(call('HGET', P .. 'job:' .. key, field) or '0')
end

local function set(key, ...)
    call('HSET', P .. 'job:' .. key, ...)
end

local function seen(key)
    call('HINCRBY', P .. 'job:' .. key, 'version', 1)
end

local function askers(key)
    return call('ZRANGE', P .. 'askers:' .. key, 0, -1)
end

local function member(key, number)
    return key .. '|' .. string.format('%d', number)
end

local function parts_of(name)
    local key, number = string.match(name, '^(.*)|(%d+)$')
    return key, tonumber(number)
end

-- Put a job in its place among those that are ready. One that is stopping comes first: it only has
-- to be put together. Then who has the fewest leases, then the job on which the least was spent, in
-- doublings of a second, then the older one.
local function rescore(key)
    if call('ZCARD', P .. 'open:' .. key) == 0 then
        call('ZREM', P .. 'ready', key)
        return
    end
    local fewest
    for _, asker in ipairs(askers(key)) do
        local leases = tonumber(call('HGET', P .. 'leased', asker) or '0')
        if not fewest or leases < fewest then
            fewest = leases
        end
    end
    local job = of(key, 'spent', 'serial', 'state')
    fewest = job[3] == 'stopping' and -1 or math.min(fewest or 0, MOST_LEASES)
    local seconds = tonumber(job[1]) / 1000000
    local doublings = 0
    if seconds >= 1 then
        local _, power = math.frexp(seconds)
        doublings = math.min(power, 63)
    end
    local score = fewest * LEASES + doublings * DOUBLINGS + tonumber(job[2])
    call('ZADD', P .. 'ready', score, key)
end

-- Give an asker so many leases more, or less, and put the jobs that are wanted in their places.
local function charge(asker, by, touched)
    if by == 0 then
        return
    end
    if call('HINCRBY', P .. 'leased', asker, by) <= 0 then
        call('HDEL', P .. 'leased', asker)
    end
    for _, key in ipairs(call('SMEMBERS', P .. 'wants:' .. asker)) do
        touched[key] = true
    end
end

local function leased(key, by)
    local touched = {[key] = true}
    call('HINCRBY', P .. 'job:' .. key, 'leased', by)
    for _, asker in ipairs(askers(key)) do
        charge(asker, by, touched)
    end
    for other in pairs(touched) do
        rescore(other)
    end
end

local function spend(key, spent)
    if spent <= 0 then
        return
    end
    call('HINCRBY', P .. 'job:' .. key, 'spent', spent)
    local minute = string.format('%d', math.floor(now / MINUTE))
    for _, asker in ipairs(askers(key)) do
        call('HINCRBY', P .. 'spent:' .. asker, minute, spent)
        call('EXPIRE', P .. 'spent:' .. asker, 3720)
    end
    rescore(key)
end

-- Return what an asker's jobs took within an hour, and how long until the oldest of it is forgotten.
local function spent_lately(asker)
    local first = math.floor(now / MINUTE) - 60
    local sum, oldest = 0, math.huge
    local all = call('HGETALL', P .. 'spent:' .. asker)
    for at = 1, #all, 2 do
        if tonumber(all[at]) > first then
            sum = sum + tonumber(all[at + 1])
            oldest = math.min(oldest, tonumber(all[at]))
        else
            call('HDEL', P .. 'spent:' .. asker, all[at])
        end
    end
    return sum, oldest == math.huge and 0 or (oldest + 60) * MINUTE - now
end

local function unlease(name)
    local key = parts_of(name)
    local token = call('HGET', P .. 'held', name)
    call('ZREM', P .. 'leases', name)
    call('HDEL', P .. 'held', name)
    if token then
        call('HDEL', P .. 'tokens', token)
    end
    leased(key, -1)
end

local function open(key, number)
    call('ZADD', P .. 'open:' .. key, number, string.format('%d', number))
    call('ZADD', P .. 'waits', now, member(key, number))
end

local function drop_open(key)
    for _, number in ipairs(call('ZRANGE', P .. 'open:' .. key, 0, -1)) do
        call('ZREM', P .. 'waits', key .. '|' .. number)
    end
    call('DEL', P .. 'open:' .. key)
end

-- Take all of a job away that is only there while it is not over.
local function clear(key)
    drop_open(key)
    for _, name in ipairs(call('ZRANGE', P .. 'leases', 0, -1)) do
        if parts_of(name) == key then
            unlease(name)
        end
    end
    call('ZREM', P .. 'ready', key)
    call('SREM', P .. 'jobs', key)
    for _, asker in ipairs(askers(key)) do
        call('SREM', P .. 'wants:' .. asker, key)
    end
    call('DEL', P .. 'shards:' .. key, P .. 'results:' .. key, P .. 'earlier:' .. key)
end

local function make_room()
    local more = call('ZCARD', P .. 'over') + call('SCARD', P .. 'jobs') - MOST_JOBS
    if more > 0 then
        for _, key in ipairs(call('ZRANGE', P .. 'over', 0, more - 1)) do
            call('DEL', P .. 'job:' .. key, P .. 'askers:' .. key)
            call('ZREM', P .. 'over', key)
        end
    end
end

local function finish(key, state, outcome, reason)
    clear(key)
    call('ZADD', P .. 'over', now, key)
    set(key, 'state', state, 'outcome', outcome, 'error', reason, 'ended', now)
    if state == 'failed' then
        call('HINCRBY', P .. 'counters', 'failed', 1)
    end
    seen(key)
end

local function next_plan(key)
    drop_open(key)
    call('DEL', P .. 'shards:' .. key, P .. 'earlier:' .. key)
    if call('EXISTS', P .. 'results:' .. key) == 1 then
        call('RENAME', P .. 'results:' .. key, P .. 'earlier:' .. key)
    end
    call('HINCRBY', P .. 'job:' .. key, 'stage', 1)
    set(key, 'shards', 0, 'recorded', 0)
    open(key, 0)
    rescore(key)
    seen(key)
end

-- Open the next plan if nothing more comes of this stage; return whether it did.
local function settle(key)
    local job = of(key, 'state', 'shards', 'recorded', 'leased')
    local state = job[1]
    local whole = tonumber(job[2]) > 0 and job[2] == job[3]
    if state == 'stopping' then
        whole = true
    elseif state ~= 'running' then
        return false
    end
    if whole and call('ZCARD', P .. 'open:' .. key) == 0 and tonumber(job[4]) == 0 then
        next_plan(key)
        return true
    end
    return false
end

-- Open a shard again after a lease, or drop it where nobody wants the job any more.
local function reopen(key, number)
    if number > 0 and call('HGET', P .. 'job:' .. key, 'state') == 'stopping' then
        settle(key)
        return
    end
    call('HINCRBY', P .. 'shards:' .. key, 'e:' .. number, 1)
    open(key, number)
    rescore(key)
end

local function failed(key, number, reason)
    local attempts = call('HINCRBY', P .. 'shards:' .. key, 'a:' .. number, 1)
    if attempts >= MOST_ATTEMPTS then
        finish(key, 'failed', '', reason)
    else
        reopen(key, number)
    end
end

local function lapse()
    for _, name in ipairs(call('ZRANGEBYSCORE', P .. 'leases', '-inf', now)) do
        -- One before it may have ended the job, and this lease with it.
        if call('ZSCORE', P .. 'leases', name) then
            local key, number = parts_of(name)
            unlease(name)
            call('HINCRBY', P .. 'counters', 'lapsed', 1)
            failed(key, number, LOST)
        end
    end
end

local function take(key, number, lasting, token)
    local name = member(key, number)
    call('ZREM', P .. 'open:' .. key, number)
    call('ZREM', P .. 'waits', name)
    call('ZADD', P .. 'leases', now + lasting, name)
    call('HSET', P .. 'held', name, token)
    call('HSET', P .. 'tokens', token, name)
    if call('HGET', P .. 'job:' .. key, 'state') == 'waiting' then
        set(key, 'state', 'running', 'began', now)
        seen(key)
    end
    leased(key, 1)
end

local function told(token)
    local name = call('HGET', P .. 'tokens', token)
    local key, number = parts_of(name)
    local job = of(key, 'run', 'stage', 'kind', 'spec', 'began')
    local shard = call(
        'HMGET', P .. 'shards:' .. key, 'e:' .. number, 'p:' .. number, 'a:' .. number
    )
    return {
        key, job[1], job[2], number, shard[1] or '0', job[3], job[4], shard[2] or '',
        tonumber(shard[3] or '0') + 1, job[5], now, call('ZSCORE', P .. 'leases', name)
    }
end

-- The key and number of a lease that is in force, nothing for another.
local function in_force(token)
    local name = call('HGET', P .. 'tokens', token)
    if name then
        return parts_of(name)
    end
end

local function whole(key)
    return {call('HGETALL', P .. 'job:' .. key), askers(key)}
end

local commands = {}

function commands.submit(key, kind, spec, asker, each, all, spent_each)
    local state = call('HGET', P .. 'job:' .. key, 'state')
    local joins = state == 'waiting' or state == 'running'
    if state == 'done' or joins and call('ZSCORE', P .. 'askers:' .. key, asker) then
        return whole(key)
    end
    local wanted, jobs = call('SCARD', P .. 'wants:' .. asker), call('SCARD', P .. 'jobs')
    local spent, again = spent_lately(asker)
    if wanted >= tonumber(each) then
        return {'each', wanted, 0}
    end
    if not joins and jobs >= tonumber(all) then
        return {'all', jobs, 0}
    end
    if spent >= tonumber(spent_each) then
        return {'spent', spent, again}
    end
    local serial = call('HINCRBY', P .. 'counters', 'serial', 1)
    if not joins then
        if state == 'stopping' then
            clear(key)
        end
        local run, version = number_of(key, 'run') + 1, number_of(key, 'version') + 1
        call('DEL', P .. 'job:' .. key, P .. 'askers:' .. key)
        set(
            key, 'run', run, 'kind', kind, 'spec', spec, 'state', 'waiting', 'stage', 0,
            'shards', 0, 'recorded', 0, 'spent', 0, 'progress', '', 'outcome', '', 'error', '',
            'version', version, 'created', now, 'began', 0, 'ended', 0, 'leased', 0,
            'serial', serial
        )
        call('SADD', P .. 'jobs', key)
        call('ZREM', P .. 'over', key)
        open(key, 0)
        make_room()
    else
        seen(key)
    end
    call('ZADD', P .. 'askers:' .. key, serial, asker)
    call('SADD', P .. 'wants:' .. asker, key)
    charge(asker, number_of(key, 'leased'), {})
    for _, other in ipairs(call('SMEMBERS', P .. 'wants:' .. asker)) do
        rescore(other)
    end
    return whole(key)
end

function commands.job(key)
    return whole(key)
end

function commands.stop(key, asker)
    local job = of(key, 'state', 'began', 'leased')
    if not job[1] or not call('ZSCORE', P .. 'askers:' .. key, asker) then
        return whole(key)
    end
    if job[1] ~= 'waiting' and job[1] ~= 'running' then
        return whole(key)
    end
    call('ZREM', P .. 'askers:' .. key, asker)
    call('SREM', P .. 'wants:' .. asker, key)
    local touched = {}
    charge(asker, -tonumber(job[3]), touched)
    for other in pairs(touched) do
        rescore(other)
    end
    if call('ZCARD', P .. 'askers:' .. key) > 0 then
        rescore(key)
        seen(key)
    elseif job[2] == '0' then
        finish(key, 'stopped', '', '')
    else
        set(key, 'state', 'stopping')
        seen(key)
        if not call('ZSCORE', P .. 'open:' .. key, '0') then
            drop_open(key)
            settle(key)
        end
        rescore(key)
    end
    return whole(key)
end

function commands.lease(lasting, token, key, run, stage, number, epoch)
    if key then
        local job = of(key, 'run', 'stage')
        local at = call('HGET', P .. 'shards:' .. key, 'e:' .. number) or '0'
        if job[1] ~= run or job[2] ~= stage or at ~= epoch then
            return {}
        end
        if not call('ZSCORE', P .. 'open:' .. key, number) then
            return {}
        end
    else
        key = call('ZRANGE', P .. 'ready', 0, 0)[1]
        if not key then
            return {}
        end
        number = call('ZRANGE', P .. 'open:' .. key, 0, 0)[1]
    end
    take(key, tonumber(number), tonumber(lasting), token)
    return told(token)
end

function commands.renew(token, lasting, spent, progress)
    local key, number = in_force(token)
    if not key then
        return 'lost'
    end
    call('ZADD', P .. 'leases', now + tonumber(lasting), member(key, number))
    spend(key, tonumber(spent))
    if progress ~= '' and progress ~= call('HGET', P .. 'job:' .. key, 'progress') then
        set(key, 'progress', progress)
        seen(key)
    end
    if call('HGET', P .. 'job:' .. key, 'state') == 'stopping' then
        return 'stop'
    end
    return 'go on'
end

function commands.record(token, result, spent, lasting, plan_token)
    local key, number = in_force(token)
    if not key or number == 0 then
        return {}
    end
    call('HSET', P .. 'results:' .. key, number, result)
    call('HINCRBY', P .. 'job:' .. key, 'recorded', 1)
    unlease(member(key, number))
    spend(key, tonumber(spent))
    seen(key)
    if settle(key) then
        take(key, 0, tonumber(lasting), plan_token)
        return told(plan_token)
    end
    return {}
end

function commands.results(token)
    local key, number = in_force(token)
    if not key or number ~= 0 then
        return {}
    end
    return call('HGETALL', P .. 'earlier:' .. key)
end

-- The payloads are read from ARGV: Lua has room for some thousand arguments, but no more.
function commands.plan(token, spent, progress)
    local FIRST = 8
    local key, number = in_force(token)
    if not key or number ~= 0 then
        return 0
    end
    unlease(member(key, 0))
    spend(key, tonumber(spent))
    call('DEL', P .. 'shards:' .. key, P .. 'earlier:' .. key)
    set(key, 'shards', #ARGV - FIRST + 1, 'recorded', 0)
    if progress ~= '' then
        set(key, 'progress', progress)
    end
    seen(key)
    if call('HGET', P .. 'job:' .. key, 'state') == 'stopping' then
        next_plan(key)
        return 1
    end
    for at = FIRST, #ARGV do
        local number = at - FIRST + 1
        call('HSET', P .. 'shards:' .. key, 'p:' .. number, ARGV[at])
        open(key, number)
    end
    rescore(key)
    return 1
end

commands['end'] = function(token, state, outcome, reason, spent)
    local key, number = in_force(token)
    if not key or number ~= 0 and state ~= 'failed' then
        return 0
    end
    unlease(member(key, number))
    spend(key, tonumber(spent))
    finish(key, state, outcome, reason)
    return 1
end

function commands.give_back(token, spent)
    local key, number = in_force(token)
    if key then
        unlease(member(key, number))
        spend(key, tonumber(spent))
        reopen(key, number)
    end
end

function commands.fail(token, reason, spent)
    local key, number = in_force(token)
    if key then
        unlease(member(key, number))
        spend(key, tonumber(spent))
        failed(key, number, reason)
    end
end

function commands.present(worker, lasting)
    if tonumber(lasting) > 0 then
        call('ZADD', P .. 'workers', now + tonumber(lasting), worker)
    else
        call('ZREM', P .. 'workers', worker)
    end
end

-- Each line as if those before it were leased, so that the askers take turns here too. Jobs are
-- read from `ready` only as far as one further down could come before those that were read.
function commands.waiting(most)
    most = tonumber(most)
    local lines, pool, read = {}, {}, 0
    local counts = {}
    local function leases(job)
        if job.stops then
            return -1
        end
        local fewest
        for _, asker in ipairs(job.askers) do
            if not counts[asker] then
                counts[asker] = tonumber(call('HGET', P .. 'leased', asker) or '0')
            end
            if not fewest or counts[asker] < fewest then
                fewest = counts[asker]
            end
        end
        return fewest or 0
    end
    local function best()
        local found, least
        for _, job in ipairs(pool) do
            if job.next <= #job.numbers then
                local score = leases(job) * LEASES + job.rest
                if not found or score < least then
                    found, least = job, score
                end
            end
        end
        return found, least
    end
    while #lines < most do
        local job, least = best()
        local next = call('ZRANGE', P .. 'ready', read, read, 'WITHSCORES')
        while next[1] and (not job or tonumber(next[2]) < least) do
            local its = of(next[1], 'run', 'stage', 'state')
            pool[#pool + 1] = {
                key = next[1], run = its[1], stage = its[2], stops = its[3] == 'stopping',
                askers = askers(next[1]), rest = tonumber(next[2]) % LEASES, next = 1,
                numbers = call('ZRANGE', P .. 'open:' .. next[1], 0, most - 1)
            }
            read = read + 1
            job, least = best()
            next = call('ZRANGE', P .. 'ready', read, read, 'WITHSCORES')
        end
        if not job then
            break
        end
        local number = job.numbers[job.next]
        job.next = job.next + 1
        for _, asker in ipairs(job.askers) do
            counts[asker] = (counts[asker] or 0) + 1
        end
        local epoch = call('HGET', P .. 'shards:' .. job.key, 'e:' .. number) or '0'
        lines[#lines + 1] = {job.key, job.run, job.stage, number, epoch}
    end
    return lines
end

function commands.figures()
    call('ZREMRANGEBYSCORE', P .. 'workers', '-inf', now)
    local oldest = call('ZRANGE', P .. 'waits', 0, 0, 'WITHSCORES')[2]
    local counters = call('HMGET', P .. 'counters', 'lapsed', 'failed')
    return {
        call('SCARD', P .. 'jobs'), call('ZCARD', P .. 'waits'), call('ZCARD', P .. 'leases'),
        oldest and now - tonumber(oldest) or 0, call('ZCARD', P .. 'workers'),
        tonumber(counters[1] or '0'), tonumber(counters[2] or '0')
    }
end

lapse()
return commands[ARGV[1]](unpack(ARGV, 5, math.min(#ARGV, 20)))
